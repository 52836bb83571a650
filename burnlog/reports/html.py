"""The page of a bid: one self-contained HTML file.

The chart scripts stand in the file once, so that a page opens in a steel cabin without a network; under each chart
stands its finding in words and the table of what it shows.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from burnlog.analyses.estimate import Estimate, in_and_out, spread_of
from burnlog.analyses.kept_fit import fit_key
from burnlog.analyses.oxygen_use import in_scf
from burnlog.analyses.thumb import compare_rules
from burnlog.charts.amounts import cut_length, length_unit, steel_unit
from burnlog.reports.cautions import MADE_UP, cautions
from burnlog.reports.page import page
from burnlog.reports.text_plan import own_says, oxygen_says, rule_says
from burnlog.wording import show

__all__ = ["estimate_page"]


def estimate_page(
    made: Estimate, head: Mapping[str, Any], *, profile: str = "metric", last: str | None = None
) -> str:
    """The two pages of a bid.

    Parameters
    ----------
    made : Estimate
    head : mapping
        code, state, title, hash, by, made_on.
    profile : str
        ``us`` or ``metric``.
    last : str, optional
        How good the last bids were, in a sentence.
    """
    from burnlog.charts.bid import DRIVER_NAMES, bid_charts, history_finding, jobs_finding, total_finding

    result = made.as_json()
    inside, outside = in_and_out(made)
    return page(
        "estimate.html",
        charts=bid_charts(made, profile=profile),
        head=head,
        made_up=MADE_UP if made.basis.made_up else None,
        outside=made.outside_history,
        answer=_answer(made, profile),
        rows=_totals(made, profile),
        items=[_item(made, place, profile) for place in range(len(made.takeoff.items))],
        order=_order(made, profile),
        dives=_dives(made),
        history_finding=history_finding(made, profile),
        history_rows=_history_rows(made, profile),
        jobs_finding=jobs_finding(made, profile),
        rate_name=f"rods per {length_unit(profile).name}",
        total_finding=total_finding(made),
        drivers=[(DRIVER_NAMES[name], f"{100 * share:.0f} %") for name, share in made.drivers.items()],
        inside=inside,
        not_inside=outside,
        warnings=made.warnings,
        adjustments=result["adjustments"],
        rules=_rules(made, profile),
        last=last,
        basis=result["basis"],
        fit=result["fit"],
        start=_start(result["fit"]["start_m"], profile),
        fit_no=fit_key(made.basis.tallyset, made.fit.settings)[:12],
        seed=made.plan.seed,
        draws=made.plan.draws,
        db_id=made.basis.db_id,
        cautions=cautions(
            "estimate", closed_space=made.basis.closed_space, tallies=made.ratio.tallies, jobs=made.ratio.jobs
        ),
    )


def _start(metres: float, profile: str) -> str:
    size, unit = length_unit(profile)
    return f"{metres / size:.2f} {unit}"


def _answer(made: Estimate, profile: str) -> str:
    rods = spread_of(made.rods)
    unit = "Rods drawn" if made.rods_unit == "drawn" else "Rod equivalents"
    said = [
        f"Burning {cut_length(made.takeoff.length_m, profile)} "
        f"({cut_length(made.takeoff.length_m, 'metric' if profile == 'us' else 'us')}) of cut line.",
        f"{unit}: P50 {rods['p50']:.0f}, P80 {rods['p80']:.0f}, P90 {rods['p90']:.0f}.",
    ]
    if made.cut_time_s is not None:
        said.append(f"Cut time (elapsed) P80 {spread_of(made.cut_time_s)['p80'] / 3600:.0f} h.")
    if made.dives is not None and made.plan.bottom_time_s is not None:
        said.append(
            f"Dives at {made.plan.bottom_time_s / 60:g} min bottom time P80 {spread_of(made.dives)['p80']:.0f}."
        )
    basis = made.as_json()["basis"]
    years = f", {basis['from'][:4]}-{basis['to'][:4]}" if basis["from"] else ""
    said.append(f"Based on {basis['tallies']} tallies, {basis['jobs']} jobs, {basis['divers']} divers{years}.")
    return " ".join(said)


def _totals(made: Estimate, profile: str) -> list[dict[str, str]]:
    """Rows of the table of totals."""
    oxygen = ("oxygen, scf (70 F, 1 atm)", in_scf(1.0)) if profile == "us" else ("oxygen, kg", 1.0)
    rows = (
        ("rods drawn" if made.rods_unit == "drawn" else "rod equivalents", made.rods, 1.0, 0),
        ("cut time, hours", made.cut_time_s, 1 / 3600, 1),
        ("dives", made.dives, 1.0, 0),
        ("days", made.days, 1.0, 0),
        (oxygen[0], made.oxygen_kg, oxygen[1], 0),
        (f"cost, {made.order.currency} ({', '.join(made.order.cost_parts)})", made.cost, 1.0, 0),
    )
    out = []
    for name, values, scale, digits in rows:
        if values is None:
            continue
        found = spread_of(values)
        cells = {key: f"{found[key] * scale:,.{digits}f}" for key in ("p10", "p50", "p80", "p90", "mean")}
        out.append({"name": name, **cells})
    return out


def _item(made: Estimate, place: int, profile: str) -> dict[str, Any]:
    item, found = made.takeoff.items[place], made.supports[place]
    rods = spread_of(made.item_rods[:, place])
    time = None if made.item_time_s is None else spread_of(made.item_time_s[:, place])
    thick = sorted({round(t, 2) for _, t in item.segments})
    size, unit = steel_unit(profile)
    steel = dict.fromkeys(f"{t / size:.3g}" for t in (thick[0], thick[-1]))
    return {
        "name": item.item,
        "quantity": item.quantity,
        "section": (item.cut_line.designation or item.cut_line.kind) if item.cut_line else item.section,
        "steel": f"{'-'.join(steel)} {unit}",
        "each": cut_length(item.length_m, profile),
        "total": cut_length(item.total_m, profile),
        "interlocks": item.interlocks,
        "position": item.conditions.get("position") or "blank",
        "visibility": item.conditions.get("visibility") or "blank",
        "rods": f"{rods['p50']:.0f}-{rods['p80']:.0f}",
        "time": "-" if time is None else f"{time['p50'] / 3600:.1f}-{time['p80'] / 3600:.1f}",
        "support": f"{found.alike} ({found.jobs})",
        "problems": found.problems,
    }


def _order(made: Estimate, profile: str) -> list[tuple[str, str]]:
    rows = []
    for name, amount in made.order.rods.items():
        packs = f", {made.order.packs[name]} packs" if name in made.order.packs else ""
        rows.append((f"rods {name}", f"{amount:.0f}{packs}"))
    if made.order.oxygen_kg is not None:
        rows.append(("oxygen", oxygen_says(made.order.oxygen_kg, profile)))
    if made.order.cylinders is not None and made.order.usable_kg_each is not None:
        rows.append(("cylinders", f"{made.order.cylinders}, {made.order.usable_kg_each:.2f} kg usable in each"))
        needed, margin = (
            show(kpa, "pressure", profile, digits=4) for kpa in (made.order.needed_kpa, made.order.margin_kpa)
        )
        rows.append(("kept back (typed)", f"{needed} needed, {margin} margin"))
    judged = [adjustment for adjustment in made.plan.adjustments if adjustment.what == "rods"]
    spares = ", ".join(f"{100 * each.share:+.0f} % ({each.why})" for each in judged)
    rows.append(("spares", spares or "none typed"))
    return rows


def _dives(made: Estimate) -> list[tuple[str, str]]:
    if made.dives is None or made.plan.bottom_time_s is None or made.plan.start_up_s is None:
        return []
    rows = [
        ("bottom time (typed)", f"{made.plan.bottom_time_s / 60:g} min"),
        ("start-up (typed)", f"{made.plan.start_up_s / 60:g} min"),
        ("share then spent cutting", _share(made)),
    ]
    if made.plan.dives_per_day is not None:
        rows.append(("dives a day (typed)", f"{made.plan.dives_per_day:g}"))
    return rows


def _share(made: Estimate) -> str:
    """Share of the time on the bottom spent cutting, with its n."""
    found = made.as_json()
    share, source = found["cutting_share"], found["cutting_share_from"]
    spread = f" ({share['p10']:.2f}-{share['p90']:.2f})" if share["p10"] < share["p90"] else ""
    return f"{share['p50']:.2f}{spread}, {source}"


def _history_rows(made: Estimate, profile: str) -> list[dict[str, str]]:
    """The history by thickness, in quarter-inch or 5 mm steps: the table beneath the chart."""
    tallies = made.basis.tallyset.tallies
    tallies = tallies[tallies["thickness_mm"].notna()]
    (per, _), (steel, unit) = length_unit(profile), steel_unit(profile)
    step, digits = (steel / 4, 2) if profile == "us" else (5.0, 0)
    rows = []
    for band, group in tallies.groupby((tallies["thickness_mm"] // step).astype(int)):
        low, high = int(str(band)) * step, (int(str(band)) + 1) * step
        rate = float(group["rods"].sum() / group["new_length_m"].sum()) * per
        name = f"{low / steel:.{digits}f} to {high / steel:.{digits}f} {unit}"
        rows.append(
            {"band": name, "tallies": str(len(group)), "jobs": str(group["job"].nunique()), "rate": f"{rate:.2f}"}
        )
    return rows


def _rules(made: Estimate, profile: str) -> list[dict[str, str]]:
    """The user's rules of thumb beside the history's own rate on the same steel."""
    return [
        {"name": rule.name, "value": rule_says(rule, profile), "own": own_says(rule, profile), "source": rule.source}
        for rule in compare_rules(made.basis, made.takeoff)
    ]
