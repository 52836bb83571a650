"""Plans as text for the terminal: an estimate, a what-if, a score. ASCII, 80 columns, n beside figures."""

from __future__ import annotations

from collections.abc import Sequence

from burnlog.analyses.estimate import Estimate, in_and_out, spread_of
from burnlog.analyses.frozen import Score
from burnlog.analyses.oxygen_use import in_scf
from burnlog.analyses.takeoff import Item
from burnlog.analyses.thumb import Compared, compare_rules
from burnlog.charts.amounts import cut_length, length_unit, steel_unit
from burnlog.reports.cautions import MADE_UP
from burnlog.reports.lines import ascii_text, wrapped

__all__ = ["estimate_text", "own_says", "oxygen_says", "rule_says", "score_text", "vary_text"]


def _thick(mm: float, profile: str) -> str:
    size, unit = steel_unit(profile)
    return f"{mm / size:.{3 if profile == 'us' else 1}f} {unit}"


def _hours(seconds: float) -> str:
    return f"{seconds / 3600:.1f} h"


def estimate_text(made: Estimate, *, profile: str = "metric", code: str = "DRAFT") -> str:
    """The answer first, then items, order, basis, what is in and what is not."""
    rods = spread_of(made.rods)
    lines = [f"ESTIMATE {code}"]
    if made.basis.made_up:
        lines.append(MADE_UP)
    if made.outside_history:
        lines.append("OUTSIDE LOGGED RANGE")
    lines += ["", f"  cut line to burn   {cut_length(made.takeoff.length_m, profile)}"]
    lines.append("                          P10      P50      P80      P90     mean")
    unit = "rods drawn" if made.rods_unit == "drawn" else "rod equivalents"
    lines.append(_row(unit, rods, 1.0, 0))
    if made.cut_time_s is not None:
        lines.append(_row("cut time, hours", spread_of(made.cut_time_s), 1 / 3600, 1))
    if made.dives is not None:
        lines.append(_row("dives", spread_of(made.dives), 1.0, 0))
    if made.days is not None:
        lines.append(_row("days", spread_of(made.days), 1.0, 0))
    if made.oxygen_kg is not None:
        scale, name = (in_scf(1.0), "oxygen, scf (70 F)") if profile == "us" else (1.0, "oxygen, kg")
        lines.append(_row(name, spread_of(made.oxygen_kg), scale, 0))
    if made.cost is not None:
        lines.append(_row(f"cost, {made.order.currency}", spread_of(made.cost), 1.0, 0))
    lines.append("  The 80 % range is P10 to P90.")
    found = made.ratio
    lines += wrapped(
        f"Based on {found.tallies} tallies, {found.lines} lines, {found.jobs} jobs, {found.divers} divers "
        f"(times on {found.time_tallies} tallies). Own ratio {_rate(found.rods_per_m, profile)}.",
        "  ",
    )
    lines += ["", "Items (item ranges do not add up to the total range: jobs go well or badly", "as a whole)"]
    lines.append(f"  {'item':<16} {'n':>4} {'steel':>9} {'cut line':>10} {'rods P50-P80':>13} {'like it':>8}")
    for place, item in enumerate(made.takeoff.items):
        drawn = spread_of(made.item_rods[:, place])
        alike = made.supports[place].alike
        lines.append(
            f"  {item.item[:16]:<16} {item.quantity:>4} {_thick(item.thickness_mm, profile):>9} "
            f"{cut_length(item.total_m, profile):>10} {drawn['p50']:>6.0f}-{drawn['p80']:<6.0f} {alike:>8}"
        )
        lines += wrapped(_each(item, profile), "    ") if item.cut_line is not None else []
    lines += ["", "Order at P80"]
    for name, amount in made.order.rods.items():
        packs = f", {made.order.packs[name]} packs" if name in made.order.packs else ""
        lines.append(f"  {name}: {amount:.0f} rods{packs}")
    if made.order.oxygen_kg is not None:
        kg = made.order.oxygen_kg
        cylinders = f", {made.order.cylinders} cylinders" if made.order.cylinders is not None else ""
        lines.append(f"  oxygen: {oxygen_says(kg, profile)}{cylinders}")
    if made.plan.bottom_time_s is not None and made.plan.start_up_s is not None:
        lines += wrapped(
            f"Dives at {made.plan.bottom_time_s / 60:g} min bottom time (typed), {made.plan.start_up_s / 60:g} min "
            f"start-up (typed), share of the rest spent cutting: {made.as_json()['cutting_share_from']}.",
            "  ",
        )
    shares = ", ".join(f"{name} {100 * share:.0f} %" for name, share in made.drivers.items())
    lines += ["", *wrapped(f"What drives the range: {shares} (of the variance of log rods).")]
    for adjustment in made.as_json()["adjustments"]:
        added = "not estimated" if adjustment["adds"] is None else f"{adjustment['adds']:+.0f} at P80"
        lines += wrapped(
            f"Judgement: {adjustment['what']} {100 * adjustment['share']:+.0f} % ({added}): {adjustment['why']}. "
            "Not blended into the figures above."
        )
    for rule in compare_rules(made.basis, made.takeoff):
        unit = f"rods/{length_unit(profile).name}" if rule.unit == "rods/m" else rule.unit
        lines += wrapped(
            f"Rule of thumb, {rule.name}: {rule_says(rule, profile)} {unit} ({rule.source}). "
            f"Own: {own_says(rule, profile)}."
        )
    inside, outside = in_and_out(made)
    lines += ["", "IN", *(line for text in inside for line in wrapped("- " + text, "  "))]
    lines += ["NOT IN", *(line for text in outside for line in wrapped("- " + text, "  "))]
    if made.warnings:
        lines += ["", "TO KNOW", *(line for text in made.warnings for line in wrapped("- " + text, "  "))]
    lines += ["", f"seed {made.plan.seed}, {made.plan.draws} draws; log {made.basis.db_id}"]
    return ascii_text(lines)


def _row(name: str, values: dict[str, float], scale: float, digits: int) -> str:
    cells = (f"{values[key] * scale:>9,.{digits}f}" for key in ("p10", "p50", "p80", "p90", "mean"))
    return f"  {name:<19}" + "".join(cells)


def _each(item: Item, profile: str) -> str:
    """One piece of an item: its cut line, and beside it what is not burned."""
    assert item.cut_line is not None
    (per, unit), (steel, thick) = length_unit(profile), steel_unit(profile)
    said = [f"each {item.length_m / per:.3f} {unit}"]
    perimeter = item.cut_line.perimeter_mm
    if perimeter is not None and abs(perimeter - item.cut_line.cut_line_mm) > 0.5:
        digits = 2 if profile == "us" else 0
        said.append(f"surface perimeter {perimeter / steel:.{digits}f} {thick} (not burned)")
    if item.interlocks:
        said.append(f"{item.interlocks} interlocks, two or three thicknesses deep")
    return "; ".join(said)


def oxygen_says(kg: float, profile: str) -> str:
    """Oxygen to be ordered in both units, the reader's first."""
    scf, mass = f"{in_scf(kg):,.0f} scf at 70 F, 1 atm", f"{kg:,.0f} kg"
    return f"{scf} ({mass})" if profile == "us" else f"{mass} ({scf})"


def rule_says(rule: Compared, profile: str) -> str:
    """What a rule of thumb gives, over a foot or a metre where it is over length."""
    per = length_unit(profile).size if rule.unit == "rods/m" else 1.0
    ends = dict.fromkeys(f"{value * per:.2f}" for value in (rule.low_per_m, rule.high_per_m))
    return "-".join(ends)


def own_says(rule: Compared, profile: str) -> str:
    """The history's own rate beside a rule, with its range and n, or why there is none."""
    if rule.own_per_m is None or rule.times is None:
        return f"not compared: {rule.why_not}"
    per = length_unit(profile).size
    reach = ""
    if rule.own_low is not None and rule.own_high is not None:
        reach = f"next job {rule.own_low * per:.2f}-{rule.own_high * per:.2f}; "
    n = f"{rule.tallies} tallies, {rule.jobs} jobs"
    return f"{rule.own_per_m * per:.2f} ({reach}{n}), {rule.times:.2f} times the rule"


def _rate(per_m: float, profile: str) -> str:
    per, unit = length_unit(profile)
    return f"{per_m * per:.2f} rods/{unit}"


def vary_text(what: str, rows: Sequence[tuple[str, Estimate | None]]) -> str:
    """One small table: a line a level, `no history` where the record holds nothing."""
    timed = what.endswith("_s")
    name = what.removesuffix("_s").replace("_", " ")
    lines = [f"What if: {name}", f"  {'level':<24}{'rods P50':>10}{'P80':>8}{'dives P50':>11}{'P80':>8}"]
    for typed, made in rows:
        level = f"{float(typed) / 60:g} min" if timed else typed
        if made is None:
            lines.append(f"  {level:<24}no history")
            continue
        rods = spread_of(made.rods)
        dives = None if made.dives is None else spread_of(made.dives)
        tail = f"{'-':>11}{'-':>8}" if dives is None else f"{dives['p50']:>11.0f}{dives['p80']:>8.0f}"
        lines.append(f"  {level:<24}{rods['p50']:>10.0f}{rods['p80']:>8.0f}{tail}")
    return ascii_text(lines)


def score_text(found: Score) -> str:
    """Every closed estimate, and how often the range held."""
    lines = [found.sentence]
    if found.changed:
        lines.append(f"scope changed, scored apart: {found.changed_inside} of {found.changed}")
    if found.not_closed:
        lines += wrapped("not closed: " + ", ".join(found.not_closed))
    if found.rows:
        lines.append(f"  {'estimate':<14}{'P10':>8}{'P50':>8}{'P90':>8}{'actual':>9}")
    for row in found.rows:
        actual = "-" if row.actual is None else f"{row.actual:.0f}"
        note = " scope changed" if row.scope_changed else ""
        inside = {True: "inside", False: "outside", None: ""}[row.inside]
        lines.append(f"  {row.code:<14}{row.p10:>8.0f}{row.p50:>8.0f}{row.p90:>8.0f}{actual:>9}  {inside}{note}")
    return ascii_text(lines)
