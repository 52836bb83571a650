"""The page of a crew review: what was given, how it went against equal steel, and how far luck alone reaches."""

from __future__ import annotations

from collections.abc import Sequence

from burnlog.analyses.consistency import Flag
from burnlog.analyses.crew_context import CodeContext, CrewContext
from burnlog.analyses.crew_oxygen import CrewOxygen
from burnlog.analyses.crews import CrewReview, CrewRow
from burnlog.analyses.exposure import Exposed
from burnlog.charts.amounts import length_unit, steel_unit
from burnlog.charts.crews import (
    NAMES,
    OXYGEN,
    crew_charts,
    map_finding,
    mix_finding,
    oxygen_finding,
    standing_finding,
)
from burnlog.reports.cautions import cautions
from burnlog.reports.page import Head, Page, Table, page_of
from burnlog.units import show

__all__ = ["crews_page"]


def crews_page(
    review: CrewReview,
    context: CrewContext,
    oxygen: CrewOxygen,
    flags: Sequence[Flag],
    head: Head,
    *,
    profile: str = "metric",
) -> Page:
    """The page of a crew review.

    Parameters
    ----------
    review : CrewReview
    context : CrewContext
        What stands beside the figures.
    oxygen : CrewOxygen
        What the oxygen did on the dives of each.
    flags : sequence of Flag
        Questions on rods and oxygen in the same scope, with what was decided.
    head : Head
    profile : str
        ``us`` or ``metric``.
    """
    return page_of(
        "crews.html",
        head,
        charts=crew_charts(review, oxygen, profile=profile),
        cautions=cautions("review", closed_space=head.closed_space, tallies=review.tallies, jobs=review.jobs),
        used=f"{review.tallies} tallies on {review.jobs} jobs",
        left_out=review.left_out,
        noun=NAMES[review.by],
        top_line=_top_line(context),
        answer=standing_finding(review),
        luck=review.luck_sentence,
        enough=any(row.enough for row in review.rows),
        standing=_standing(review, profile),
        sentences=[f"{row.code}: {row.sentence()}" for row in review.rows],
        work=_work(review, context, profile),
        plates_finding=mix_finding(review, "plate", profile) if any(row.plate_mix for row in review.rows) else "",
        sight_finding=mix_finding(review, "visibility", profile) if any(r.plate_mix for r in review.rows) else "",
        plates=_mix(review, "plate", profile),
        sight=_mix(review, "visibility", profile),
        map_finding=map_finding(review),
        map=_map(review),
        oxygen_finding=oxygen_finding(oxygen) if oxygen.dives else "",
        oxygen=_oxygen(oxygen),
        fell=_fell(oxygen, profile),
        flags=_flags(flags),
        remarks=review.remarks,
        notes_=review.notes,
    )


def _top_line(context: CrewContext) -> str:
    it = context.period
    drawn = (
        f"{it.drawn:,.0f} rods drawn on {it.drawn_dives} of {it.dives} dives, {it.unaccounted:.0f} unaccounted"
        if it.drawn_dives
        else "rods drawn not recorded"
    )
    filled = f"{100 * it.recorded / it.expected:.0f} % of the fields filled in" if it.expected else "no fields"
    return (
        f"{it.dives} dives; lines through {it.through}, through with hangers {it.hanging}, part or not known "
        f"{it.part}, abandoned {it.abandoned}; {drawn}; {filled}."
    )


def _standing(review: CrewReview, profile: str) -> Table:
    per, unit = length_unit(profile)

    def row(it: CrewRow) -> tuple[str, ...]:
        start = (it.code, str(it.tallies), str(it.jobs))
        if not it.enough or it.effect is None:
            return (*start, it.why, "", "", "", "")
        luck = "-" if it.luck_low is None else f"{it.luck_low:.2f} - {it.luck_high:.2f}"
        return (
            *start,
            f"{it.effect:.2f} ({it.low:.2f} - {it.high:.2f})",
            "-" if it.observed_expected is None else f"{it.observed_expected:.2f}",
            luck,
            _chance(it.prob_more or 0.0),
            "-" if it.raw_per_m is None else f"{it.raw_per_m * per:.2f}",
        )

    return Table.of(
        "In code order; the ratio to the others is shrunken, its 80 % interval in brackets. Luck band: where "
        "observed over expected lies by chance alone for that n, 80 %. More rods?: the chance that more are needed "
        f"than the others need. The raw rods per {unit} say what work was given as much as how it was done.",
        (
            review.by.replace("_", " "),
            "tallies",
            "jobs",
            "ratio to the others",
            "obs. / exp.",
            "luck band",
            "more rods?",
            f"raw /{unit}",
        ),
        [row(it) for it in review.rows],
        numeric=(1, 2, 4, 5, 6, 7),
    )


def _chance(share: float) -> str:
    """A probability from draws, which never reach none or all."""
    return "under 1 %" if share < 0.01 else "over 99 %" if share > 0.99 else f"{100 * share:.0f} %"


def _work(review: CrewReview, context: CrewContext, profile: str) -> Table | None:
    if not context.codes:
        return None
    per, unit = length_unit(profile)
    rows = []
    for it in review.rows:
        mine = context.codes.get(it.code)
        if mine is not None:
            rows.append((it.code, f"{it.length_m / per:.0f}", *_beside(mine, profile)))
    return Table.of(
        "Exact 95 % intervals in brackets; n in lines or rods. None recorded is not none happened.",
        (
            review.by,
            f"{unit} cut",
            "steel",
            "restarts per line",
            "hangers per line",
            "events per 100 rods",
            "filled in",
        ),
        rows,
        numeric=(1,),
    )


def _beside(it: CodeContext, profile: str) -> tuple[str, str, str, str, str]:
    steel = "not recorded"
    if it.steel_mm is not None:
        (low, high), (size, unit) = it.steel_mm, steel_unit(profile)
        steel = f"{low / size:.2g}-{high / size:.2g} {unit}"
    filled = f"{100 * it.recorded / it.expected:.0f} %" if it.expected else "-"
    return steel, _rate(it.restarts), _rate(it.hangers), _rate(it.events), filled


def _rate(it: Exposed) -> str:
    if it.rate is None or it.low is None or it.high is None:
        return f"{it.count} recorded, no exposure"
    return f"{it.rate:.2g} ({it.low:.2g}-{it.high:.2g}) n {it.exposure:g}"


def _mix(review: CrewReview, what: str, profile: str) -> Table:
    steel, unit = steel_unit(profile)

    def name(text: str) -> str:
        if what != "plate" or text == "not recorded":
            return text
        return f"{float(text) / steel:.3g} {unit}"

    rows = []
    for it in review.rows:
        mix = it.plate_mix if what == "plate" else it.visibility_mix
        rows.append((it.code, ", ".join(f"{name(text)} {100 * share:.0f} %" for text, share in mix) or "none"))
    return Table.of(f"Share of length by {what}", (review.by.replace("_", " "), "work given"), rows)


def _map(review: CrewReview) -> Table:
    work = review.work
    numbers = {old: str(place + 1) for place, old in enumerate(sorted(set(work.part.values())))}
    rows = [
        (
            code,
            numbers[work.part[code]],
            ", ".join(f"{job} ({work.tallies[(code, job)]})" for job in work.jobs[code]),
            ", ".join(work.shared[code]) or "none: cannot be told apart from the job",
        )
        for code in sorted(work.part)
    ]
    return Table.of(
        "Jobs of each, tallies in brackets; codes of one part can be compared along shared jobs.",
        (review.by.replace("_", " "), "part", "jobs", "of these shared"),
        rows,
    )


def _oxygen(oxygen: CrewOxygen) -> Table:
    codes = sorted({dive.code for dive in oxygen.dives})
    rows = [(code, *(str(count) for count in oxygen.counts(code).values())) for code in codes]
    return Table.of(
        "Dives by the word on their oxygen", (oxygen.by, *OXYGEN), rows, numeric=tuple(range(1, 1 + len(OXYGEN)))
    )


def _fell(oxygen: CrewOxygen, profile: str) -> Table | None:
    rows = [
        (
            each.dive,
            each.code,
            each.rig,
            "-" if each.fall_kpa is None else show(each.fall_kpa, "pressure", profile, digits=2),
            f"{each.before_ragged} of {each.before_seen}",
            f"{each.from_ragged} of {each.from_seen}",
        )
        for each in oxygen.fell
    ]
    if not rows:
        return None
    return Table.of(
        "Dives on which it fell: ragged edges of those seen, before the fall and from its beginning on",
        ("dive", oxygen.by, "rig", "rise of the drop", "ragged before", "ragged from then on"),
        rows,
    )


def _flags(flags: Sequence[Flag]) -> Table | None:
    rows = [(flag.target, flag.rule, flag.question, flag.sheet or "-", flag.standing) for flag in flags]
    if not rows:
        return None
    return Table.of(
        "Questions about the record, not about people; each stays in every figure until somebody decides.",
        ("about", "rule", "question", "on the sheet", "decision"),
        rows,
    )
