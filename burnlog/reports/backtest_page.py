"""The page of a backtest: what each past job took beside the range of its bid, and how often ranges held."""

from __future__ import annotations

from burnlog.analyses.backtest import Backtest, Score
from burnlog.charts.backtest import METHOD_NAMES, backtest_charts, held_finding, jobs_finding
from burnlog.reports.cautions import cautions
from burnlog.reports.page import Head, Page, Table, page_of

__all__ = ["backtest_page"]

COLUMNS = ("method", "jobs", "50 %", "80 %", "exact 95 % interval", "95 %", "width", "bias", "CRPS", "pinball P80")


def backtest_page(found: Backtest, head: Head) -> Page:
    """One chart and one table over the jobs, one chart and one table over the methods.

    Parameters
    ----------
    found : Backtest
    head : Head
    """
    seen = "earlier jobs only" if found.forward else "all other jobs"
    methods = Table.of(
        "Share of jobs inside each range; an 80 % range should hold 80 %. Width: ln(P90/P10). Bias: median of "
        "ln(P50/actual). CRPS and pinball loss at P80 on the log scale: smaller is nearer.",
        COLUMNS,
        [_method(METHOD_NAMES[name], score) for name, score in found.methods.items()],
        numeric=range(1, len(COLUMNS)),
    )
    jobs = Table.of(
        "Rods by job.",
        ("job", "P10", "P50", "P90", "took", "tallies before", "jobs before", "inside"),
        [
            (
                row.job,
                *(f"{value:.0f}" for value in (row.p10, row.p50, row.p90, row.actual_rods)),
                str(row.tallies_before),
                str(row.jobs_before),
                "yes" if row.p10 <= row.actual_rods <= row.p90 else "no",
            )
            for row in found.rows
        ],
        numeric=range(1, 7),
    )
    inside = sum(row.p10 <= row.actual_rods <= row.p90 for row in found.rows)
    return page_of(
        "backtest.html",
        head,
        charts=backtest_charts(found),
        cautions=cautions("review", closed_space=head.closed_space),
        used=f"{len(found.rows)} jobs, seed {found.seed}, {found.draws:,} draws",
        left_out=found.left_out,
        answer=f"{inside} of {len(found.rows)} past jobs took rods inside the 80 % range of a bid made from {seen}.",
        jobs=jobs,
        jobs_finding=jobs_finding(found),
        methods=methods,
        held_finding=held_finding(found),
        notes_=found.notes,
    )


def _method(name: str, score: Score) -> tuple[str, ...]:
    interval = "-"
    if score.c80_low is not None and score.c80_high is not None:
        interval = f"{100 * score.c80_low:.0f} to {100 * score.c80_high:.0f} %"
    return (
        name,
        str(score.jobs),
        _share(score.c50),
        _share(score.c80),
        interval,
        _share(score.c95),
        "-" if score.width80 is None else f"{score.width80:.2f}",
        f"{score.bias:+.3f}",
        f"{score.crps:.3f}",
        f"{score.pinball80:.3f}",
    )


def _share(value: float | None) -> str:
    return "-" if value is None else f"{100 * value:.0f} %"
