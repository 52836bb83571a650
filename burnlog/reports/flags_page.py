"""The page of questions about the record: expected, written, what else stood on the sheet, and what was decided."""

from __future__ import annotations

from burnlog.analyses.events import EventReview
from burnlog.analyses.flags import FlagReview
from burnlog.charts.flags import flag_charts, outside_finding
from burnlog.reports.cautions import cautions
from burnlog.reports.events_tables import event_tables, hangers_at_sentence
from burnlog.reports.page import Head, Page, Table, page_of
from burnlog.reports.text_review import flag_facts, left_out_sentence
from burnlog.wording import number_of

__all__ = ["flags_page"]


def flags_page(review: FlagReview, head: Head, *, events: EventReview | None = None, profile: str = "metric") -> Page:
    """The page of questions about the record.

    Parameters
    ----------
    review : FlagReview
    head : Head
    events : EventReview, optional
        Defects and events over their exposure, shown after the questions.
    profile : str
        ``us`` or ``metric``.
    """
    count = len(review.flags)
    left_out = review.left_out
    still_open = sum(not flag.decided for flag in review.flags)
    return page_of(
        "flags.html",
        head,
        charts=flag_charts(review),
        cautions=cautions("flags", closed_space=head.closed_space),
        used=f"{review.tallies} tallies on {review.jobs} jobs for the rods; every row for the other rules",
        left_out={},
        answer=f"{number_of(count, 'question')} about the record, gravest first; {still_open} of them open.",
        model=review.model,
        finding=outside_finding(review),
        drawn=bool(flag_charts(review)),
        questions=_questions(review, profile),
        judged=_judged(review),
        not_seen=review.not_seen,
        decided="" if left_out is None else left_out_sentence(left_out, profile),
        events=() if events is None else event_tables(events),
        hangers_at="" if events is None else hangers_at_sentence(events),
        model_of_hangers="" if events is None or events.model.terms else events.model.sentence(),
        notes_=review.notes,
    )


def _questions(review: FlagReview, profile: str) -> Table:
    rows = [
        (
            str(number),
            f"{flag.target}: {flag.rule}",
            *(fact or "-" for fact in flag_facts(flag, profile)),
            flag.question,
            flag.sheet or "-",
            flag.standing,
        )
        for number, flag in enumerate(review.flags, start=1)
    ]
    return Table.of(
        "A flag is a question. Nothing is deleted, and everything stays in every figure until somebody decides.",
        ("no.", "about", "found", "expected", "question", "also on the sheet", "decision"),
        rows,
    )


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
