"""Terminal text about people: crews and classes. Work and calls first, codes in code order, n beside figures."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from burnlog.charts.amounts import length_unit
from burnlog.reports.cautions import MADE_UP
from burnlog.reports.lines import ascii_text, wrapped
from burnlog.reports.page import counted_words
from burnlog.units import show
from burnlog.wording import number_of

if TYPE_CHECKING:
    from burnlog.analyses.crews import CrewReview, CrewRow, Remark
    from burnlog.analyses.exposure import Exposed
    from burnlog.analyses.practice import Panel, Person, PracticeReview
    from burnlog.analyses.spread import Split

__all__ = ["crews_text", "practice_text"]

SMALL_SHARE = 0.05
COLUMNS = (
    "effect: rods against the others on equal steel, drawn towards 1 where the record is thin, with its 80 % "
    "interval. O/E: rods used over rods expected. luck: where O/E lies by luck alone for that n, 80 %. raw: rods "
    "over length, whatever was cut. more?: chance that more rods are needed than the others need."
)


def crews_text(review: CrewReview, *, profile: str = "metric") -> str:
    """The work each was given and how far luck reaches, then a row for each code in code order, and it in words."""
    per, unit = length_unit(profile)
    out = [
        *([MADE_UP] if review.made_up else []),
        *wrapped(
            f"Rods by {review.by.replace('_', ' ')}, against the others on equal steel: "
            f"{number_of(review.tallies, 'tally', 'tallies')}, "
            f"{number_of(review.jobs, 'job')}. For talking with the crew, not for pay or discipline."
        ),
        "",
        "Work given: share of length by plate, and by visibility",
        *_work_mix(review, profile),
        "",
        *wrapped(review.luck_sentence),
        "",
        f"{review.by.replace('_', ' '):<10}{'n':>4}{'jobs':>5}{'effect':>8}{'80 %':>13}{'luck':>13}{'O/E':>6}"
        f"{'raw/' + unit:>8}{'more?':>7}",
    ]
    out += [_crew_row(row, per) for row in review.rows]
    out += wrapped(COLUMNS, indent="  ", after="  ")
    out.append("")
    for row in review.rows:
        if row.enough:
            out += wrapped(f"{row.code}: {row.sentence()}")
    out.append("")
    out += [line for note in review.notes for line in wrapped(note)]
    return ascii_text([*out, *_remarks(review.remarks)])


def _crew_row(row: CrewRow, per: float) -> str:
    start = f"{row.code[:9]:<10}{row.tallies:>4}{row.jobs:>5}"
    if not row.enough or row.effect is None:
        return f"{start}  {row.why}"
    oe = "-" if row.observed_expected is None else f"{row.observed_expected:.2f}"
    luck = "-" if row.luck_low is None else f"{row.luck_low:.2f}-{row.luck_high:.2f}"
    raw = "-" if row.raw_per_m is None else f"{row.raw_per_m * per:.2f}"
    share = row.prob_more or 0.0
    more = "<1 %" if share < 0.01 else ">99 %" if share > 0.99 else f"{100 * share:.0f} %"
    return f"{start}{row.effect:>8.2f}{f'{row.low:.2f}-{row.high:.2f}':>13}{luck:>13}{oe:>6}{raw:>8}{more:>7}"


def _work_mix(review: CrewReview, profile: str) -> list[str]:
    per, unit = length_unit(profile)
    lines = []
    for row in review.rows:
        plates = _shares([(_steel(text, profile), share) for text, share in row.plate_mix])
        lines += wrapped(
            f"{row.code} ({row.length_m / per:.0f} {unit}): {plates}; {_shares(row.visibility_mix)}", indent="  "
        )
    return lines


def _steel(text: str, profile: str) -> str:
    """A thickness of the work mix, or the words for none."""
    return text if text == "not recorded" else show(float(text), "thickness", profile, digits=3)


def _shares(mix: Sequence[tuple[str, float]]) -> str:
    """Shares of 5 % and more, the others together."""
    large = [(word, share) for word, share in mix if share >= SMALL_SHARE]
    rest = 1.0 - sum(share for _, share in large)
    if len(large) < len(mix):
        large.append(("other", rest))
    return ", ".join(f"{word} {100 * share:.0f} %" for word, share in large)


def practice_text(review: PracticeReview, *, profile: str = "metric") -> str:
    """Each setting by itself: calls and faults, stubs and restarts, rods and time."""
    out = [*([MADE_UP] if review.made_up else []), "TRAINING. Codes in code order; settings are never joined."]
    for panel in review.panels:
        out += ["", *_panel(panel, profile)]
    out += [line for note in review.notes for line in wrapped(note)]
    return ascii_text([*out, *_remarks(review.remarks)])


def _panel(panel: Panel, profile: str) -> list[str]:
    per, unit = length_unit(profile)
    lines = [
        f"{panel.setting.upper()}: {number_of(len(panel.people), 'person', 'people')}, "
        f"{number_of(len(panel.attempts), 'attempt')}, {number_of(panel.cuts, 'cut')}"
    ]
    lines += ["", "  1 calls and safety faults (in brackets what the share could be, 95 %)"]
    for person in panel.people:
        lines += wrapped(f"{person.code}: {_calls(person.calls)}; {_faults(person.faults)}", indent="  ")
    lines += _none_proves_little(panel.people)
    words = counted_words(panel.technique) or "none"
    lines += wrapped(
        f"words on technique were written on {panel.technique_cuts} of {panel.cuts} cuts: {words}", indent="  "
    )
    lines += ["", "  2 stubs and restarts", *_stubs(panel.people, profile)]
    lines += ["", f"  3 rods per {unit}, attempt by attempt (- not computed)"]
    for person in panel.people:
        mine = [a for a in panel.attempts if a.person == person.code]
        row = " ".join("-" if a.rods_per_m is None else f"{a.rods_per_m * per:.2f}" for a in mine)
        lines += wrapped(f"{person.code}: {row}", indent="  ")
    if panel.middle_half is not None:
        low, high = (value * per for value in panel.middle_half)
        n = sum(a.rods_per_m is not None for a in panel.attempts)
        lines.append(f"  half the attempts lay between {low:.2f} and {high:.2f} (n {n})")
    lines += ["", "  4 what the spread can tell"]
    if panel.coarse_rods is not None:
        lines += wrapped(
            f"half the attempts took {panel.coarse_rods:g} rods or fewer, counted whole: one rod more or less is "
            f"{100 / panel.coarse_rods:.0f} % of such a burn, so much of this spread is rounding; a longer coupon, "
            "or stubs measured, tells more",
            indent="  ",
        )
    lines += _split(panel.split, panel.why_no_split)
    lines += _trends(panel)
    for reason, n in (*panel.left_out.items(), *panel.blanks.items()):
        lines += wrapped(f"{n}: {reason}", indent="  ")
    return lines


def _calls(calls: Exposed) -> str:
    if calls.rate is None or calls.low is None or calls.high is None:
        return "calls not written"
    blank = f", {calls.blank} dives without" if calls.blank else ""
    return f"{calls.count} of {calls.exposure:g} calls right ({100 * calls.low:.0f}-{100 * calls.high:.0f} %{blank})"


def _faults(faults: Exposed) -> str:
    if not faults.exposure:
        return "faults not written"
    on = f"{faults.exposure:g} dive{'' if faults.exposure == 1 else 's'}"
    return f"no fault written on {on}" if faults.count == 0 else f"faults {faults.count} on {on}"


def _none_proves_little(people: Sequence[Person]) -> list[str]:
    """What no fault on the most dives anybody had cannot rule out."""
    none = [p.faults for p in people if p.faults.exposure and p.faults.count == 0 and p.faults.high is not None]
    if not none:
        return []
    most = max(none, key=lambda faults: faults.exposure)
    on = f"{most.exposure:g} dive{'' if most.exposure == 1 else 's'}"
    said = f"no fault proves little: on {on} up to {most.high:.2g} a dive cannot be ruled out"
    return wrapped(said, indent="  ")


def _stubs(people: Sequence[Person], profile: str) -> list[str]:
    """Stubs and restarts person by person, and once for all who have neither."""
    lines, silent = [], []
    for person in people:
        if person.stub_mm is None and person.restarts.rate is None:
            silent.append(person.code)
            continue
        said = "no stubs measured"
        if person.stub_mm is not None:
            said = f"stubs n {person.stubs}, middle {show(person.stub_mm, 'thickness', profile, digits=3)}"
        if person.short_stubs:
            said += f", {person.short_stubs} under the planned stub"
        again = "restarts not written"
        if person.restarts.rate is not None:
            again = f"restarts {person.restarts.count} in {person.restarts.exposure:g} attempts"
        lines += wrapped(f"{person.code}: {said}; {again}", indent="  ")
    if silent:
        who = "for anybody" if not lines else f"for {', '.join(silent)}"
        lines += wrapped(f"no stubs measured and no restarts written {who}", indent="  ")
    return lines


def _split(split: Split | None, why: str) -> list[str]:
    if split is None:
        return wrapped(f"between and within people is not split: {why}", indent="  ")
    low, mid, high = (
        "over 500" if n is None else str(n) for n in (split.to_tell_low, split.to_tell, split.to_tell_high)
    )
    return [
        *wrapped(
            f"between people {100 * split.between_share:.0f} % of the spread, the rest within one person from "
            f"attempt to attempt (80 % interval {100 * split.share_low:.0f}-{100 * split.share_high:.0f} %; "
            f"{split.people} people, {split.attempts} attempts)",
            indent="  ",
        ),
        *wrapped(
            f"to tell two people who truly differ by 20 %, with four chances in five, takes {mid} attempts each "
            f"({low} to {high})",
            indent="  ",
        ),
    ]


def _trends(panel: Panel) -> list[str]:
    drawn = [trend for trend in panel.trends if trend.rate is not None]
    lines = [line for trend in drawn for line in wrapped(trend.sentence(), indent="  ")]
    short = [trend for trend in panel.trends if trend.rate is None]
    if short:
        who = "anybody" if not lines else ", ".join(trend.person for trend in short)
        most = max(trend.attempts for trend in short)
        lines += wrapped(
            f"no learning curve for {who}: 8 attempts with a rod count on one plate are needed, the most is {most}",
            indent="  ",
        )
    return lines


def _remarks(remarks: Sequence[Remark]) -> list[str]:
    lines = []
    for remark in remarks:
        lines += ["", f"Remark by {remark.code}, {remark.day}:", *wrapped(remark.text, indent="  ")]
    return lines
