"""Terminal text of the reviews: flags, sag, events. ASCII, 79 columns, n beside each figure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from burnlog.charts.amounts import length_unit
from burnlog.reports.lines import ascii_text, wrapped
from burnlog.units import show
from burnlog.wording import number_of

if TYPE_CHECKING:
    from burnlog.analyses.consistency import Flag
    from burnlog.analyses.events import EventReview
    from burnlog.analyses.exposure import Exposed
    from burnlog.analyses.flags import FlagReview, LeftOut
    from burnlog.analyses.sag import SagDive, SagReview
    from burnlog.analyses.supply import BankAhead

__all__ = [
    "events_text",
    "flag_facts",
    "flags_text",
    "left_out_sentence",
    "sag_text",
    "supply_text",
]

SHOWN_AS = {"m": ("length", 1000.0), "mm": ("thickness", 1.0), "kPa": ("pressure", 1.0), "s": ("elapsed", 1.0)}


def flags_text(review: FlagReview, *, profile: str = "metric", most: int | None = 40) -> str:
    """The questions, gravest first, and what was judged to find them.

    Parameters
    ----------
    review : FlagReview
    profile : str
        ``us`` or ``metric``.
    most : int or None
        How many to print; the number of the others is said.
    """
    count = len(review.flags)
    out = wrapped(f"{count} question{'s' if count != 1 else ''} about the record. {review.model}")
    shown = review.flags if most is None else review.flags[:most]
    for number, flag in enumerate(shown, start=1):
        out += ["", *_flag(number, flag, profile)]
    if len(shown) < count:
        out += ["", f"... and {count - len(shown)} more; --json lists all."]
    out += ["", "rule                             flags  rows judged  inputs blank"]
    raised = [flag.rule for flag in review.flags]
    out += [
        f"{rule[:32]:<32} {raised.count(rule):>5}  {review.judged[rule]:>11}  {review.blank.get(rule, 0):>12}"
        for rule in review.judged
    ]
    if review.left_out is not None:
        out += ["", *wrapped(left_out_sentence(review.left_out, profile))]
    out += ["", *wrapped("Not seen by these rules: " + " ".join(review.not_seen))]
    out += [line for note in review.notes for line in wrapped(note)]
    return ascii_text(out)


def left_out_sentence(left: LeftOut, profile: str) -> str:
    """Both rates, with and without what a decision left out."""
    per, unit = length_unit(profile)
    burns = "1 count is" if left.tallies == 1 else f"{left.tallies} counts are"
    return (
        f"{burns} left out by decision: {left.rods_per_m_without * per:.3g} rods per {unit} without, "
        f"{left.rods_per_m_with * per:.3g} with."
    )


def flag_facts(flag: Flag, profile: str) -> tuple[str, str]:
    """What was seen, and what was expected, of a flag; empty where it has none."""
    seen = "" if flag.seen is None else _amount(flag.seen, flag.unit, profile)
    known = flag.expected_low is not None or flag.expected_high is not None
    return seen, _range(flag, profile) if known else ""


def sag_text(review: SagReview, *, profile: str = "metric") -> str:
    """The dives by evidence, the table of sag against edges, and how much could be judged."""
    out = [f"Oxygen sag: {review.sentence()}."]
    for word in ("likely", "possible"):
        for dive in (d for d in review.dives if d.evidence == word):
            out += ["", *_sag_dive(dive, profile)]
    clear = sum(d.evidence == "no evidence" for d in review.dives)
    out += ["", f"no evidence on {clear} dives; {review.not_judged} of {len(review.dives)} dives not judged."]
    table = review.table
    p = "not computed: a row or column is empty" if table.p is None else f"exact p {table.p:.2g}"
    out += [
        "",
        f"{'cuts':<12}{'ragged':>8}{'other':>8}",
        f"{'during sag':<12}{table.sag_ragged:>8}{table.sag_other:>8}",
        f"{'otherwise':<12}{table.clear_ragged:>8}{table.clear_other:>8}   {p}; {table.says}",
    ]
    for low in review.banks_low:
        end, limit = (
            show(low.bank_end_kpa, "pressure", profile, digits=4),
            show(low.limit_kpa, "pressure", profile, digits=4),
        )
        out += wrapped(f"{low.cut}: bank at {end} at stop, under the typed {limit}")
    out += ["", *wrapped(review.limits.sentence())]
    out += [line for note in review.notes for line in wrapped(note)]
    return ascii_text(out)


def supply_text(ahead: BankAhead, *, profile: str = "metric") -> str:
    """The forecast of a bank as a question, or why there is none."""
    found = ahead.forecast
    if found is None:
        return ascii_text(wrapped(f"{ahead.bank}: no forecast: {ahead.why}"))
    stands, each = (
        show(kpa, "pressure", profile, digits=digits)
        for kpa, digits in ((found.bank_kpa, 4), (found.fall_kpa_per_rod, 3))
    )
    return ascii_text(wrapped(f"{ahead.bank} at {stands} falls {each} a rod: {found.question()}"))


def events_text(review: EventReview) -> str:
    """Rates with exact intervals, where hangers were left, and the list."""
    out = [
        f"{number_of(review.dives, 'dive')}, {number_of(review.cuts, 'cut')}, "
        f"{number_of(review.lines, 'line')}; intervals are exact, 95 %."
    ]
    for title, figures in (
        ("Events, on dives with a rod count", review.by_event),
        ("Hangers", review.hangers),
        ("Restarts", review.restarts),
        ("Edges", review.edges),
    ):
        out += ["", *_titled(title, figures)]
    out.append("")
    if review.hangers_at[0].exposure:
        out += _titled("Where hangers were left", review.hangers_at)
    else:
        out.append(f"Where hangers were left: no place written for any of the {review.hangers_at[0].blank}")
    out += wrapped(review.common_practice, indent="  ")
    out += ["", *wrapped(review.model.sentence())]
    out += [
        f"  {term.fit + ', ' + term.name:<56} x {term.ratio:>5.2f} ({term.low:.2f}-{term.high:.2f})"
        for term in review.model.terms
    ]
    out.append("")
    out.append(f"{len(review.rows)} events listed" + (":" if review.rows else "."))
    for row in review.rows:
        told = [row.day or "no day", row.cut or row.dive or row.job, row.event, row.outcome or ""]
        where = [w for w in (row.rig, row.piece_kind, row.setting) if w]
        out += wrapped("  ".join(t for t in told if t) + (f"  [{', '.join(where)}]" if where else ""), indent="  ")
        if row.text:
            out += wrapped(row.text, indent="      ")
    out += [line for note in review.notes for line in wrapped(note)]
    return ascii_text(out)


def _flag(number: int, flag: Flag, profile: str) -> list[str]:
    head = f"{number:>3} {flag.kind}: {flag.target}, {flag.rule}"
    facts, expected = flag_facts(flag, profile)
    if expected and flag.kind == "sag":
        facts = f"drop {facts}, usually {expected}"
    elif expected:
        facts = f"{facts} written, {expected} expected"
    lines = [*wrapped(head, indent="", after="    "), *(wrapped(facts, indent="    ") if facts else [])]
    lines += wrapped(flag.question, indent="    ")
    if flag.sheet:
        lines += wrapped(f"on the sheet: {flag.sheet}", indent="    ")
    if flag.decided:
        lines += wrapped(f"decided: {flag.standing}", indent="    ")
    return lines


def _range(flag: Flag, profile: str) -> str:
    low, high = flag.expected_low, flag.expected_high
    if low is None and high is not None:
        return f"up to {_amount(high, flag.unit, profile)}"
    if high is None and low is not None:
        return f"{_amount(low, flag.unit, profile)} or more"
    return f"{_amount(low, flag.unit, profile)} to {_amount(high, flag.unit, profile)}"


def _amount(value: float | None, unit: str, profile: str) -> str:
    if value is None:
        return "-"
    if unit in SHOWN_AS:
        kind, factor = SHOWN_AS[unit]
        return show(value * factor, kind, profile, digits=3)
    return f"{value:.3g} {unit}"


def _sag_dive(dive: SagDive, profile: str) -> list[str]:
    usual = dive.pressure.baseline
    rig = dive.rig or "not recorded"
    read = f"{dive.readings} readings, {dive.pressure.method}" if dive.readings else "no flowing pressure read"
    lines = [f"{dive.evidence}: {dive.dive}, rig {rig}, {read}"]
    if dive.fall_kpa is not None and usual is not None:
        fall = show(dive.fall_kpa, "pressure", profile, digits=3)
        centre = show(usual.centre_kpa, "pressure", profile, digits=3)
        at = "" if dive.alarm_at is None else f" after {dive.alarm_at:g} rods"
        lines += wrapped(
            f"limit passed{at}{f' in {dive.first_cut}' if dive.first_cut else ''}; drop up to {fall} above the "
            f"rig's usual {centre} ({usual.readings} readings on other dives)",
            indent="    ",
        )
    if dive.cuts_during or dive.cuts_after:
        during, after = ", ".join(dive.cuts_during) or "-", ", ".join(dive.cuts_after) or "none"
        lines += wrapped(f"cuts during: {during}; after: {after}", indent="    ")
    rods = "no model" if dive.rods_residual is None else f"{dive.rods_residual:+.1f}"
    bank = "" if dive.bank_kpa is None else f"; bank at {show(dive.bank_kpa, 'pressure', profile, digits=4)}"
    lines += wrapped(
        f"ragged on {dive.ragged} of {dive.edges_seen} edges seen; hangers {dive.hangers}, not through "
        f"{dive.not_through}; rods residual {rods}{bank}"
        f"{'; written on the sheet as sag' if dive.reported else ''}",
        indent="    ",
    )
    return lines


def _titled(title: str, figures: Sequence[Exposed]) -> list[str]:
    """Figures under their title; what the sheets leave blank is said once where it is the same for all."""
    blanks = {figure.blank for figure in figures}
    shared = blanks.pop() if len(blanks) == 1 else 0
    lines = [f"{title} (not written for {shared} more)" if shared else title]
    for figure in figures:
        blank = f" [not written for {figure.blank} more]" if figure.blank and not shared else ""
        lines += wrapped(figure.sentence() + blank, indent="  ")
    return lines
