"""Where the spread of a record lies: between jobs, crews, divers and dives, by one restricted likelihood fit.

These are descriptions with their n, not what a bid leans on: a plugged-in spread is too sure of itself when the
groups are few. Steel, conditions and start allowance are taken out at their fitted size first.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from burnlog.analyses.rate_design import Design
from burnlog.analyses.rate_fit import Model
from burnlog.errors import FitError
from burnlog.stats.mixed import MixedFit, fit_mixed

__all__ = ["Spread", "spreads"]

KINDS = ("job", "crew", "diver", "dive")
FEWEST_LEVELS = 3
LEAST_SPREAD = 0.005  # log scale; counting whole rods alone spreads more
NOUN = {"job": "jobs", "crew": "crews", "diver": "divers", "dive": "dives"}


@dataclass(frozen=True)
class Spread:
    """Standard deviation between the levels of one grouping, log scale; exactly 0 on the boundary."""

    between: str
    sd: float
    levels: int


def spreads(model: Model) -> tuple[tuple[Spread, ...], tuple[str, ...]]:
    """Spread by job, crew, diver and dive, and burn to burn.

    Returns
    -------
    spreads : tuple of Spread
        The last one is ``burn``: what is left within a tally of usual length, its `levels` the tallies.
    notes : tuple of str
        Groupings that could not be judged, and those where no spread could be seen.
    """
    rows, tags = model.design, model.posterior.tag_means
    case = rows.case(tags["start_m"], tags["psi_m"])
    y = case.y - case.X[:, 2:] @ model.posterior.coef[2:]
    if model.posterior.sigma < LEAST_SPREAD:
        return (), ("rods follow steel and length so exactly that no spread can be split; were they computed?",)
    labels, notes = _labels(rows)
    fit = _fitted(y, case.X[:, :2], labels, 1.0 / case.m, notes)
    if fit is None:
        return (), tuple(notes)
    out = [Spread(kind, fit.group_sd[kind], len(set(labels[kind]))) for kind in KINDS if kind in fit.group_sd]
    notes += [f"no spread between {NOUN[each.between]} could be seen beside the rest" for each in out if each.sd == 0]
    return (*out, Spread("burn", fit.sigma, rows.n)), tuple(notes)


def _labels(rows: Design) -> tuple[dict[str, list[str]], list[str]]:
    """Labels of the tallies by grouping, for the groupings that can be judged."""
    diver = next(effect for effect in rows.effects if effect.name == "diver")
    found = {
        "job": rows.tallies["job"].to_list(),
        "crew": rows.tallies["crew"].fillna("(not recorded) " + rows.tallies["job"]).to_list(),
        "diver": [diver.levels[k] for k in diver.loadings.argmax(axis=1)],
        "dive": rows.tallies["dive_ref"].fillna(rows.tallies["ref"]).to_list(),
    }
    labels, notes, taken = {}, [], set()
    for kind in KINDS:
        levels = len(set(found[kind]))
        parting = frozenset(
            frozenset(np.flatnonzero([x == level for x in found[kind]])) for level in set(found[kind])
        )
        if levels < FEWEST_LEVELS:
            notes.append(f"spread between {NOUN[kind]} not judged: {levels} of them")
        elif levels == rows.n:
            notes.append(f"spread between {NOUN[kind]} not judged: each has one tally")
        elif parting in taken:
            notes.append(f"spread between {NOUN[kind]} not judged: they part the tallies as jobs or crews do")
        else:
            labels[kind] = found[kind]
            taken.add(parting)
    return labels, notes


def _fitted(
    y: NDArray[np.float64],
    X: NDArray[np.float64],
    labels: dict[str, list[str]],
    weights: NDArray[np.float64],
    notes: list[str],
) -> MixedFit | None:
    """The fit with as many groupings as the rows carry, the finest given up first."""
    while labels:
        try:
            return fit_mixed(y, X, labels, weights=weights, names=["level", "thickness"])
        except FitError as error:
            given_up = list(labels)[-1]
            notes.append(f"spread between {NOUN[given_up]} not judged: {error}")
            del labels[given_up]
    return None
