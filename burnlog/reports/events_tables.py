"""Tables of defects and events over their exposure, for a page: exact intervals, and what hangers go with."""

from __future__ import annotations

from collections.abc import Sequence

from burnlog.analyses.events import EventReview
from burnlog.analyses.exposure import Exposed
from burnlog.reports.page import Table
from burnlog.wording import number_of

__all__ = ["event_tables", "hangers_at_sentence"]


def event_tables(review: EventReview) -> tuple[Table, ...]:
    """Rates of hangers, restarts, edges and events, where hangers were left, and the fits of hangers.

    Parameters
    ----------
    review : EventReview

    Returns
    -------
    tuple of Table
    """
    figures = (*review.hangers, *review.restarts, *review.edges, *review.by_event, *review.hangers_at)
    tables = [
        Table.of(
            f"{number_of(review.dives, 'dive')}, {number_of(review.cuts, 'cut')}, "
            f"{number_of(review.lines, 'line')}. Intervals are exact, 95 %; none "
            "recorded is not none.",
            ("what", "recorded", "in", "rate", "could be", "blank"),
            [_row(figure) for figure in figures if figure.exposure or figure.count],
            numeric=(1, 2, 5),
        )
    ]
    if review.model.terms:
        tables.append(
            Table.of(
                review.model.sentence(),
                ("hangers", "against", "times", "95 % interval"),
                [
                    (term.fit, term.name, f"{term.ratio:.2f}", f"{term.low:.2f} - {term.high:.2f}")
                    for term in review.model.terms
                ],
                numeric=(2,),
            )
        )
    return tuple(tables)


def hangers_at_sentence(review: EventReview) -> str:
    """The record's share of hangers at a rod change beside the common-practice statement."""
    said = review.hangers_at[0].sentence()
    return f"{said[0].upper()}{said[1:]}. Beside it: {review.common_practice}."


def _row(figure: Exposed) -> Sequence[str]:
    exposure = f"{figure.exposure:g} {figure.unit}"
    blank = str(figure.blank) if figure.blank else "-"
    if figure.rate is None or figure.low is None or figure.high is None:
        return figure.what, str(figure.count), exposure, "no rate", "-", blank
    if figure.per == 0:
        rate, span = f"{100 * figure.rate:.0f} %", f"{100 * figure.low:.0f} - {100 * figure.high:.0f} %"
    else:
        each = f"{figure.per:g} {figure.unit}" if figure.per != 1 else figure.unit.removesuffix("s")
        rate, span = f"{figure.rate:.2g} per {each}", f"{figure.low:.2g} - {figure.high:.2g}"
    if figure.count == 0:
        rate = "none recorded"
    return figure.what, str(figure.count), exposure, rate, span, blank
