"""How much of the spread lies between people, and how many attempts it takes to tell two of them apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from burnlog.stats.posterior import Case, Effect, integrate

__all__ = ["Split", "attempts_to_tell", "split_spread"]

FEWEST_PEOPLE, FEWEST_ATTEMPTS = 3, 2
TELL_RATIO = 1.20
MOST_ATTEMPTS = 500


@dataclass(frozen=True)
class Split:
    """Spread of log rods per metre, between people and within one person.

    `between_share` is the share of the variance that lies between people, with its 80 % interval. What one
    person learned from attempt to attempt counts as within. `to_tell` is the number of attempts each of two
    people who truly differ by 20 % would need for four chances in five of showing it (two-sided 5 % test), at
    the middle and the 80 % interval of the spread within; None where it is over 500.
    """

    people: int
    attempts: int
    between_share: float
    share_low: float
    share_high: float
    between_sd: float
    within_sd: float
    to_tell: int | None
    to_tell_low: int | None
    to_tell_high: int | None


def split_spread(
    attempts: Sequence[tuple[str, float | None, float | None]], *, rng: np.random.Generator, draws: int = 4000
) -> tuple[Split | None, str]:
    """Split the spread of attempts given as (person, rods per metre, thickness in mm).

    Thickness is taken out by its logarithm where it differs; attempts without one are then left out.

    Returns
    -------
    split : Split or None
    why : str
        Empty, or what was missing.
    """
    known = [(p, r, t) for p, r, t in attempts if r is not None and r > 0]
    steel = {t for _, _, t in known}
    mixed = len(steel) > 1
    if mixed:
        known = [(p, r, t) for p, r, t in known if t is not None]
    counts: dict[str, int] = {}
    for person, _, _ in known:
        counts[person] = counts.get(person, 0) + 1
    repeated = sum(n >= FEWEST_ATTEMPTS for n in counts.values())
    if repeated < FEWEST_PEOPLE:
        return None, (
            f"{repeated} people with {FEWEST_ATTEMPTS} attempts or more and a rod count; "
            f"{FEWEST_PEOPLE} are needed to split the spread"
        )
    y = np.log([r for _, r, _ in known])
    X = np.ones((len(known), 1))
    precision = [0.0]
    if mixed:
        log_t = np.log(np.array([t for _, _, t in known], dtype=float))
        y = y - log_t  # the exponent's prior stands about 1
        X = np.column_stack([X, log_t - log_t.mean()])
        precision = [0.0, 0.09]
    if np.ptp(y) < 1e-9:
        return None, "every attempt took the same rods over length: no spread to split"
    people = Effect.from_labels("person", [p for p, _, _ in known], scale=1.0, grid=(0.03, 5.0, 41))
    fit = integrate([Case(y, X, np.ones(len(y)))], [people], prior_precision=precision)
    drawn = fit.draws(draws, rng)
    between, within = drawn.sd["person"], drawn.sigma
    share = between**2 / (between**2 + within**2)
    low, mid, high = np.quantile(within, [0.1, 0.5, 0.9])
    return (
        Split(
            people=len(counts),
            attempts=len(known),
            between_share=float(np.median(share)),
            share_low=float(np.quantile(share, 0.1)),
            share_high=float(np.quantile(share, 0.9)),
            between_sd=float(np.median(between)),
            within_sd=float(mid),
            to_tell=attempts_to_tell(TELL_RATIO, float(mid)),
            to_tell_low=attempts_to_tell(TELL_RATIO, float(low)),
            to_tell_high=attempts_to_tell(TELL_RATIO, float(high)),
        ),
        "",
    )


def attempts_to_tell(ratio: float, within_sd: float, *, power: float = 0.8, alpha: float = 0.05) -> int | None:
    """Attempts each of two people needs so that a true ratio between them shows in a two-sided t test.

    Parameters
    ----------
    ratio : float
        True ratio of their rods, above 0 and not 1.
    within_sd : float
        Spread of one person's attempts on the log scale.

    Returns
    -------
    int or None
        The smallest number whose power reaches `power`; None above 500.

    Notes
    -----
    Power from the noncentral t with 2 n - 2 degrees of freedom and noncentrality ln(ratio) / sd sqrt(n / 2).

    Examples
    --------
    >>> attempts_to_tell(1.2, 0.25)
    31
    """
    effect = abs(np.log(ratio)) / within_sd
    n = np.arange(2, MOST_ATTEMPTS + 1)
    df = 2 * n - 2
    limit = stats.t.ppf(1 - alpha / 2, df)
    shift = effect * np.sqrt(n / 2)
    reach = stats.nct.sf(limit, df, shift)
    found = np.flatnonzero(reach >= power)
    return int(n[found[0]]) if found.size else None
