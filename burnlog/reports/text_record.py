"""The record for the terminal: what does not add up, what is left, the day, the box, the oxygen. ASCII, 80 columns.

The caution block is put beneath by the command; no text here carries advice.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from burnlog.analyses.accounts import RodBalance, StubCount
from burnlog.analyses.attached import Left
from burnlog.analyses.completeness import Completeness, FieldCount
from burnlog.analyses.day import Day
from burnlog.analyses.dive_times import RodChanges
from burnlog.analyses.oxygen_use import OxygenUse, in_scf
from burnlog.analyses.quality import CheckReport
from burnlog.analyses.stock import Stock
from burnlog.analyses.supply import BankAhead
from burnlog.charts.amounts import length_unit
from burnlog.reports.lines import ascii_text, wrapped
from burnlog.wording import number_of, show

__all__ = [
    "balance_text",
    "check_text",
    "completeness_text",
    "day_text",
    "left_text",
    "oxygen_text",
    "rod_changes_text",
    "stock_text",
    "stubs_text",
]

DAY_WIDTH = 72
DAY_LINES = 12
NAMED = 5


def _length(metres: float | None, profile: str) -> str:
    return "length ?" if metres is None else show(1000 * metres, "length", profile, digits=3)


def _mass(kg: float, profile: str) -> str:
    return f"{in_scf(kg):.0f} scf ({kg:.1f} kg)" if profile == "us" else f"{kg:.1f} kg"


def check_text(report: CheckReport) -> str:
    """One line a problem, the most serious first, and how to mend one; a single line where nothing is asked."""
    looked = f"{number_of(report.dives, 'dive')}, {number_of(report.cuts, 'cut')} looked at"
    if report.since is not None:
        looked += f" since {report.since.isoformat()}"
    if report.clean:
        return f"nothing that does not add up: {looked}"
    lines = [problem.sentence() for problem in report.problems]
    end = [f"{number_of(len(lines), 'problem')}; {looked}; nothing was changed"]
    on_a_row = [  # a cut typed from no sheet goes by its dive
        problem.place if problem.sheet is not None else f"{problem.dive}.{problem.row}"
        for problem in report.problems
        if problem.row is not None
    ]
    if on_a_row:
        end += [f"to mend a row: burnlog --by NAME fix cut '{on_a_row[0]}'", "  FIELD=VALUE --why REASON"]
    return ascii_text([*lines, *end])


def left_text(left: Left, profile: str = "metric") -> str:
    """The list of a job's lines still to be thought of."""
    lines = [
        left.first_line,
        f"{left.job}: {number_of(len(left.lines), 'line')} open",
    ]
    state = ""
    for line in left.lines:
        if line.state != state:
            state = line.state
            lines.append(f"{state}:")
        plan = _length(line.planned_m, profile)
        cut = "" if line.state == "planned" else f"{_length(line.severed_m, profile)} of "
        last = "" if line.last_dive is None else f", {line.last_dive}"
        lines += wrapped(f"  {line.line:<10} {cut}{plan}{last}: {line.note}")
    removed = f", {left.removed} removed another way" if left.removed else ""
    lines.append(f"through: {left.through}{removed}")
    if left.unseen:
        lines += wrapped(f"  on {left.unseen} of them no edge is recorded: called through, not known to be looked at")
    return ascii_text(lines)


def day_text(day: Day, profile: str = "metric") -> str:
    """A day in at most 12 lines of at most 72 bytes, for a message over a bad line."""
    mark = "MADE UP " if day.made_up else ""
    if not day.dives:
        return f"{mark}{day.day.isoformat()}: no dives recorded"
    lines = [f"{mark}{day.day.isoformat()} {' '.join(day.jobs)}"]
    lines.append(f"dives {day.dives}, divers {day.divers}")
    blank = f" ({day.length_blank} blank)" if day.length_blank else ""
    cut = _length(day.new_length_m, profile)
    lines.append(f"lines through {day.lines_through}, hanging {day.lines_hanging}, not done {day.lines_part}")
    lines.append(f"cut {cut} new{blank}")
    of = "" if day.drawn_dives == day.dives else f" ({day.drawn_dives} of {day.dives} dives)"
    drawn = f"drawn {day.drawn:g}, back {day.back:g}{of}" if day.drawn_dives else "drawn not recorded"
    astray = f", unaccounted {day.unaccounted:g}" if day.unaccounted else ""
    lines.append(f"rods {drawn}{astray}")
    of = "" if day.oxygen_dives == day.dives else f" ({day.oxygen_dives} of {day.dives} dives)"
    lines.append(f"oxygen used {_mass(day.oxygen_kg, profile)}{of}" if day.oxygen_dives else "oxygen used not known")
    left = [f"{b.bank} {'?' if b.kpa is None else show(b.kpa, 'pressure', profile, digits=4)}" for b in day.banks]
    lines.append("oxygen left " + (", ".join(left) or "not recorded"))
    if day.ahead:
        lines.append("change over before? " + ", ".join(_ahead(bank, profile) for bank in day.ahead))
    lines.append("waits " + _listed([f"{word} {seconds / 60:.0f}min" for word, _, seconds in day.stoppages]))
    lines.append("events " + _listed([f"{word} x{count}" if count > 1 else word for word, count in day.events]))
    lines.append(f"blank {day.blanks} of {day.blanks_of} fields")
    return ascii_text(_short(line) for line in lines[:DAY_LINES])


def _ahead(bank: BankAhead, profile: str) -> str:
    """Rods until the typed pressure, in the few words a bad line carries."""
    if bank.forecast is None:
        return f"{bank.bank} no forecast"
    found = bank.forecast
    high = "?" if found.rods_high is None else f"{found.rods_high:.0f}"
    needed = show(found.needed_kpa, "pressure", profile, digits=3)
    return f"{bank.bank} may reach {needed} after {found.rods_low:.0f}-{high} rods"


def _listed(parts: Sequence[str]) -> str:
    return ", ".join(parts) or "none recorded"


def _short(line: str) -> str:
    """A line of the day message: what does not fit is cut at a comma, and the cut is marked."""
    if len(line) <= DAY_WIDTH:
        return line
    return line[: DAY_WIDTH - 5].rsplit(", ", 1)[0] + ", ..."


def stock_text(stock: Stock, profile: str = "metric") -> str:
    """Enough for about a to b of c, with the rate it comes from."""
    low, left = _length(stock.low_m, profile), _length(stock.left_m, profile)
    reach = f"{low} or more" if stock.high_m is None else f"{low} to {_length(stock.high_m, profile)}"
    per, unit = length_unit(profile)
    rate = f"{_two(stock.rate_low * per)} to {_two(stock.rate_high * per)} rods/{unit}"
    of = f"of {left}" if stock.lines_left else "; no line left has a known length"
    lines = [
        f"{stock.job}: {number_of(stock.rods_in_box, 'rod')} in the box, enough for about {reach} {of}".replace(
            " ;", ";"
        ),
        f"own rate {rate} (80 % range), {number_of(stock.tallies, 'tally', 'tallies')} on this job",
        f"{number_of(stock.lines_left, 'line')} left with a length"
        + (f", {stock.lines_unknown} without: not counted" if stock.lines_unknown else ""),
        *stock.notes,
    ]
    return ascii_text(piece for line in lines for piece in wrapped(line))


def _two(value: float) -> str:
    """Two significant figures."""
    if value == 0 or not math.isfinite(value):
        return f"{value:g}"
    return f"{float(f'{value:.2g}'):g}"


def completeness_text(found: Completeness) -> str:
    """Recorded of expected, field by field: overall where there is one group, else a row a group and field."""
    lines = ["recorded of expected", *(f"  {c.field:<18} {c.recorded} of {c.expected}" for c in found.overall())]
    if found.by:
        groups: dict[tuple[str, ...], list[FieldCount]] = {}
        for count in found.counts:
            groups.setdefault(count.group, []).append(count)
        lines.append("by " + ", ".join(found.by))
        for group, counts in groups.items():
            told, asked = sum(c.recorded for c in counts), sum(c.expected for c in counts)
            lines.append(f"  {' / '.join(group):<28} {told} of {asked} fields")
    lines.append(found.flowing())
    return ascii_text(lines)


def balance_text(boxes: Iterable[RodBalance]) -> str:
    """One line a dive and rod type."""
    lines = []
    for box in boxes:
        terms = (box.issued, box.returned, box.started, box.lost, box.broken_or_wet)
        told = " ".join(f"{'-' if value is None else format(value, 'g'):>4}" for value in terms)
        lines += wrapped(f"{box.dive:<14} {box.rod_type or '':<8} {told}  {box.sentence()}")
    head = f"{'dive':<14} {'rods':<8} {'out':>4} {'back':>4} {'lit':>4} {'lost':>4} {'wet':>4}"
    return ascii_text([head, *lines] if lines else ["no rods counted and no box counted"])


def stubs_text(counts: Iterable[StubCount], profile: str = "metric") -> str:
    """Counts with measured stubs: whole rods, stubs, equivalents; the caution once, where it belongs."""
    lines, cautions = [], []
    for count in counts:
        stubs = ", ".join(show(stub, "thickness", profile, digits=4) for stub in count.stubs_mm)
        worth = "no equivalents (rod length or planned stub not known)"
        if count.equivalents is not None:
            worth = f"{count.equivalents:.2f} rod equivalents"
        mark = "" if count.caution is None else " *"
        lines += wrapped(
            f"tally {count.tally_no} {count.dive or count.job}: {count.full:g} full + {stubs} = {worth}{mark}"
        )
        if count.caution and count.caution not in cautions:
            cautions.append(count.caution)
    lines += [piece for caution in cautions for piece in wrapped(f"* {caution}")]
    return ascii_text(lines or ["no stubs measured"])


def rod_changes_text(changes: RodChanges) -> str:
    """What a rod change takes where the burn was timed, and burn plus change, named so, where it was not."""
    lines = []
    if changes.median_delay_s is not None:
        lines.append(
            f"rod change {changes.median_delay_s / 60:.2f} min, middle of {number_of(len(changes.delays), 'cut')}"
        )
    lines += [
        f"burn plus change {_two(row.s_per_rod)} s per rod ({_two(row.low_s)} to {_two(row.high_s)}), "
        f"{row.family}, {number_of(row.cuts, 'cut')}"
        for row in changes.burn_and_change
    ]
    lines += [piece for name, reason in changes.why.items() for piece in wrapped(f"{name}: {reason}")]
    return ascii_text(lines or ["no cut has a count and a clock of its own"])


def oxygen_text(use: OxygenUse, profile: str = "metric") -> str:
    """Oxygen by dive, all-in, with the reason where there is none; falls of a bank while nobody burned."""
    lines = ["oxygen used, all-in (hold test, purging, leaks and idle flow are in it)"]
    for dive in use.dives:
        if dive.used_kg is None:
            continue
        place = f"{dive.dive:<14} {dive.bank or '':<8} "
        rate = f"no figure per rod: {dive.why_no_rate}"
        if dive.kg_per_rod is not None and dive.rods is not None:
            rate = f"{_mass(dive.kg_per_rod, profile)} a rod over {dive.rods:g}"
            if profile != "us":
                rate = f"{dive.kg_per_rod:.2f} kg a rod over {dive.rods:g}"
        both = f"; belongs to {', '.join(dive.shared_with)} too" if dive.shared_with else ""
        lines += wrapped(f"{place}{_mass(dive.used_kg, profile)}, {rate}{both}")
    for fall in use.idle:
        gone = f"{fall.bank} fell {_pressures(fall.from_kpa, fall.to_kpa, profile)} between dives"
        lines += wrapped(f"{gone} ({fall.after_dive}, {fall.before_dive}), {_mass(fall.used_kg, profile)}")
        lines += [piece for note in fall.notes for piece in wrapped(f"  {note}")]
    for reason in use.why_not:
        mine = [dive.dive for dive in use.dives if dive.why == reason]
        more = "" if len(mine) <= NAMED else f" and {len(mine) - NAMED} more"
        lines += wrapped(f"no figure on {number_of(len(mine), 'dive')}, {reason}: {', '.join(mine[:NAMED])}{more}")
    lines.append(f"a figure per rod from {number_of(len(use.per_rod()), 'window')}")
    if profile == "us":
        lines.append("1 scf is at 70 F and 1 atm")
    return ascii_text(lines)


def _pressures(start: float, end: float, profile: str) -> str:
    first, last = (show(kpa, "pressure", profile, digits=4) for kpa in (start, end))
    return f"from {first} to {last}"
