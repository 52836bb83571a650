"""What the record says, from Python: rates, odd burns, oxygen, crews, classes, events, and how good bids would be."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from burnlog.library.record import OpenLog, frames_of, scoped

if TYPE_CHECKING:
    import datetime as dt

    from burnlog.analyses.backtest import Backtest
    from burnlog.analyses.crews import CrewReview
    from burnlog.analyses.events import EventReview
    from burnlog.analyses.flags import FlagReview
    from burnlog.analyses.practice import PracticeReview
    from burnlog.analyses.quality import CheckReport
    from burnlog.analyses.rate_fit import RateFit
    from burnlog.analyses.rates import Rates
    from burnlog.analyses.rehearsal import Rehearsal
    from burnlog.analyses.sag import SagReview
    from burnlog.analyses.scope import Scope
    from burnlog.columns import Frames

__all__ = ["backtest", "check", "crews", "events", "fit_rates", "flags", "practice", "rates", "rehearse", "sag"]

SEED = 1


def fit_rates(record: OpenLog | Frames, scope: Scope | None = None, **filters: Any) -> RateFit:
    """The fitted model of rods and time, from which new work is simulated.

    Parameters
    ----------
    record : OpenLog or Frames
    scope : Scope, optional
        What may stand together; production in open water without one.
    **filters
        Fields of `Scope` that differ from it.

    Raises
    ------
    FitError
        Fewer tallies or jobs than a model needs.

    Examples
    --------
    >>> from burnlog import fit_rates, open_log
    >>> with open_log("demo/demo.db") as record:
    ...     fit = fit_rates(record)
    >>> sorted(fit.rods.posterior.group_sd)
    ['diver', 'job']
    """
    from burnlog.analyses.rate_fit import fit_rates as fitted
    from burnlog.analyses.tallies import decided_out, gather

    frames, wanted = scoped(record, scope, filters)
    return fitted(gather(frames, wanted, leave_out=decided_out(frames)))


def rates(record: OpenLog | Frames, scope: Scope | None = None, *, by: Sequence[str] = (), **filters: Any) -> Rates:
    """Rods and time over length: the ratio always, the model where the history holds one.

    Parameters
    ----------
    record, scope, **filters
        As in `fit_rates`.
    by : sequence of str
        What to show side by side: crew, diver, family, visibility, thickness and others.

    Examples
    --------
    >>> from burnlog import open_log, rates
    >>> with open_log("demo/demo.db") as record:
    ...     learned = rates(record, by=["crew"], family="exothermic")
    >>> [group.level for group in learned.by if group.jobs > 1]
    ['BLUE', 'GREY', 'RED']
    >>> learned.ratio.tallies >= 10
    True
    """
    from burnlog.analyses.rates import rates as learned

    return learned(*scoped(record, scope, filters), by=(by,) if isinstance(by, str) else tuple(by))


def flags(
    record: OpenLog | Frames, scope: Scope | None = None, *, units: str = "metric", **filters: Any
) -> FlagReview:
    """Odd burns, each a question.

    Parameters
    ----------
    record, scope, **filters
        As in `fit_rates`.
    units : str
        ``us`` or ``metric``, for what a question quotes from the sheet.

    Examples
    --------
    >>> from burnlog import flags, open_log
    >>> with open_log("demo/demo.db") as record:
    ...     review = flags(record, jobs="PIER14")
    >>> sorted({flag.job for flag in review.flags})
    ['PIER14']
    """
    from burnlog.analyses.flags import flags as asked

    return asked(*scoped(record, scope, filters), profile=units)


def sag(record: OpenLog | Frames, scope: Scope | None = None, **filters: Any) -> SagReview:
    """Dives on which the oxygen pressure fell while gas flowed, each against its own rig's other dives.

    Parameters
    ----------
    record, scope, **filters
        As in `fit_rates`.

    Examples
    --------
    >>> from burnlog import open_log, sag
    >>> with open_log("demo/demo.db") as record:
    ...     review = sag(record)
    >>> {dive.evidence for dive in review.dives} <= {"likely", "possible", "no evidence", "not judged"}
    True
    """
    from burnlog.analyses.sag import sag as looked

    return looked(*scoped(record, scope, filters))


def crews(
    record: OpenLog | Frames,
    scope: Scope | None = None,
    *,
    by: str = "crew",
    remarks: Sequence[tuple[str, str, str]] = (),
    seed: int = SEED,
    **filters: Any,
) -> CrewReview:
    """Crews held against each other on equal steel, in the order of their codes, with how far luck alone reaches.

    Parameters
    ----------
    record, scope, **filters
        As in `fit_rates`.
    by : str
        ``crew``, ``diver``, ``rod_type`` or ``rig``.
    remarks : sequence of (code, day, text)
        Answers of the people reviewed, kept whole.
    seed : int
        Of the draws; the same seed gives the same digits.

    Raises
    ------
    InputError
        An unknown grouping, or a remark over 1,000 characters.
    RefusedError
        No tally fits the filter.

    Examples
    --------
    >>> from burnlog import crews, open_log
    >>> with open_log("demo/demo.db") as record:
    ...     review = crews(record)
    >>> [row.code for row in review.rows]
    ['BLUE', 'GREY', 'RED']
    """
    import numpy as np

    from burnlog.analyses.crews import Remark
    from burnlog.analyses.crews import crews as compared

    said = [Remark(*remark) for remark in remarks]
    rng = np.random.default_rng(seed)
    return compared(*scoped(record, scope, filters), by=by, rng=rng, remarks=said)


def practice(
    record: OpenLog | Frames,
    scope: Scope | None = None,
    *,
    remarks: Sequence[tuple[str, str, str]] = (),
    seed: int = SEED,
    **filters: Any,
) -> PracticeReview:
    """A class's own spread: attempts in order, between and within people; dry, tank and open water apart.

    Parameters
    ----------
    record, scope, **filters
        As in `fit_rates`; record class and setting are set here.
    remarks : sequence of (code, day, text)
        Answers of the people shown, kept whole.
    seed : int
        Of the draws behind the intervals.

    Raises
    ------
    RefusedError
        No training in the scope.

    Examples
    --------
    >>> from burnlog import open_log, practice
    >>> with open_log("demo/demo.db") as record:
    ...     review = practice(record)
    >>> [(panel.setting, len(panel.people)) for panel in review.panels]
    [('dry practice', 14), ('test tank', 12)]
    """
    import numpy as np

    from burnlog.analyses.crews import Remark
    from burnlog.analyses.practice import practice as shown

    said = [Remark(*remark) for remark in remarks]
    return shown(*scoped(record, scope, filters), rng=np.random.default_rng(seed), remarks=said)


def events(record: OpenLog | Frames, scope: Scope | None = None, **filters: Any) -> EventReview:
    """Hangers, restarts and events over what they could have happened in, with exact intervals.

    Parameters
    ----------
    record, scope, **filters
        As in `fit_rates`.

    Examples
    --------
    >>> from burnlog import events, open_log
    >>> with open_log("demo/demo.db") as record:
    ...     review = events(record, jobs="PIER12")
    >>> review.lines > 0
    True
    """
    from burnlog.analyses.events import events as counted

    return counted(*scoped(record, scope, filters))


def check(record: OpenLog | Frames, *, since: dt.date | None = None, units: str = "metric") -> CheckReport:
    """What does not add up in the record, one entry a problem; nothing is changed.

    Parameters
    ----------
    record : OpenLog or Frames
    since : date, optional
        Look at dives from this day on.
    units : str
        ``us`` or ``metric``, for what a problem quotes.

    Examples
    --------
    >>> from burnlog import check, open_log
    >>> with open_log("demo/demo.db") as record:
    ...     check(record).clean
    False
    """
    from burnlog.analyses.quality import check as looked

    return looked(frames_of(record), since=since, profile=units)


def backtest(
    record: OpenLog | Frames,
    scope: Scope | None = None,
    *,
    forward: bool = False,
    draws: int = 4000,
    seed: int = SEED,
    **filters: Any,
) -> Backtest:
    """Forecast each job of the record from the others, as it would have been bid, and score the ranges.

    Parameters
    ----------
    record, scope, **filters
        As in `fit_rates`.
    forward : bool
        See only jobs begun before the job in hand; otherwise every other job.
    draws, seed : int
        Of the simulation.

    Raises
    ------
    FitError
        Fewer than 3 jobs, or too few tallies.

    Examples
    --------
    >>> from burnlog import backtest, open_log
    >>> with open_log("demo/demo.db") as record:
    ...     tried = backtest(record, draws=500)
    >>> len(tried.rows)
    14
    """
    from burnlog.analyses.backtest import backtest as tried

    return tried(*scoped(record, scope, filters), forward=forward, draws=draws, seed=seed)


def rehearse(
    record: OpenLog | Frames, scope: Scope | None = None, *, count: int = 60, seed: int = SEED, **filters: Any
) -> Rehearsal:
    """Invent records shaped like this one, bid a new job from each, and say how often what it took fell inside.

    Parameters
    ----------
    record, scope, **filters
        As in `fit_rates`.
    count : int
        Invented records, 20 or more.
    seed : int
        The same seed gives the same figures.

    Raises
    ------
    FitError
        Too few jobs or tallies for a range.

    Examples
    --------
    >>> from burnlog import invent, rehearse
    >>> rehearse(invent(4, seed=1).frames, count=20).histories
    20
    """
    from burnlog.analyses.rehearsal import rehearse as rehearsed

    return rehearsed(*scoped(record, scope, filters), count=count, seed=seed)
