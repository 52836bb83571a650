"""The page of questions about the record: expected, written, what else stood on the sheet, and what was decided."""

from __future__ import annotations

from burnlog.analyses.consistency import Flag
from burnlog.analyses.flags import FlagReview
from burnlog.charts.flags import flag_charts, outside_finding
from burnlog.reports.cautions import cautions
from burnlog.reports.page import Head, Page, Table, page_of
from burnlog.units import show

__all__ = ["flags_page"]

SHOWN_AS = {"m": ("length", 1000.0), "mm": ("thickness", 1.0), "kPa": ("pressure", 1.0), "s": ("elapsed", 1.0)}


def flags_page(review: FlagReview, head: Head, *, profile: str = "metric") -> Page:
    """The page of questions about the record.

    Parameters
    ----------
    review : FlagReview
    head : Head
    profile : str
        ``us`` or ``metric``.
    """
    count = len(review.flags)
    decided = sum(flag.decision != "keep" for flag in review.flags)
    return page_of(
        "flags.html",
        head,
        charts=flag_charts(review),
        cautions=cautions("flags", closed_space=head.closed_space),
        used=f"{review.tallies} tallies on {review.jobs} jobs for the rods; every row for the other rules",
        left_out={},
        answer=f"{count} question{'' if count == 1 else 's'} about the record, gravest first; {decided} decided "
        "otherwise than keep.",
        model=review.model,
        finding=outside_finding(review),
        drawn=bool(flag_charts(review)),
        questions=_questions(review, profile),
        judged=_judged(review),
        not_seen=review.not_seen,
        notes_=review.notes,
    )


def _questions(review: FlagReview, profile: str) -> Table:
    rows = [
        (
            str(number),
            f"{flag.target}: {flag.rule}",
            _amount(flag.seen, flag.unit, profile),
            _range(flag, profile),
            flag.question,
            flag.sheet or "-",
            flag.decision,
        )
        for number, flag in enumerate(review.flags, start=1)
    ]
    return Table.of(
        "A flag is a question. Nothing is deleted, and everything stays in every figure until somebody decides.",
        ("no.", "about", "written", "expected", "question", "what else stood on the sheet", "decision"),
        rows,
    )


def _amount(value: float | None, unit: str, profile: str) -> str:
    if value is None:
        return "-"
    if unit in SHOWN_AS:
        kind, factor = SHOWN_AS[unit]
        return show(value * factor, kind, profile, digits=3)
    return f"{value:.3g} {unit}"


def _range(flag: Flag, profile: str) -> str:
    low, high = flag.expected_low, flag.expected_high
    if low is None and high is None:
        return "-"
    if low is None:
        return f"up to {_amount(high, flag.unit, profile)}"
    if high is None:
        return f"{_amount(low, flag.unit, profile)} or more"
    return f"{_amount(low, flag.unit, profile)} to {_amount(high, flag.unit, profile)}"


def _judged(review: FlagReview) -> Table:
    raised = [flag.rule for flag in review.flags]
    return Table.of(
        "What each rule could judge; a rule whose inputs are blank does not run on that row.",
        ("rule", "flags", "rows judged", "inputs blank"),
        [
            (rule, str(raised.count(rule)), str(n), str(review.blank.get(rule, 0)))
            for rule, n in review.judged.items()
        ],
        numeric=(1, 2, 3),
    )
