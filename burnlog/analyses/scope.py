"""Which part of the record an analysis speaks about, and why a count falls outside it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Scope", "judged"]


@dataclass(frozen=True)
class Scope:
    """What may stand together in one rate.

    Practice on deck, tank work and open water are never pooled, nor are trainees and production crews: a
    value other than the one asked for puts a count *outside* the scope; a value nobody wrote down leaves it
    *out* of an analysis it might have belonged to, and that is counted.

    Parameters
    ----------
    setting, record_class : str
        Stored words of the vocabulary.
    materials : tuple of str
        Materials that may be taken together. A material not written down is kept and counted where plain carbon
        steel is asked for, and left out where it is not; one recorded as ``unknown`` is left out.
    family : str or None
        Rod family; None takes every family, and the fit keeps them apart by a term.
    jobs, crews, divers : tuple of str or None
        Codes to keep; None keeps all.
    since, until : date or None
        First and last day, both included.
    """

    setting: str = "open water"
    record_class: str = "production"
    materials: tuple[str, ...] = ("carbon steel", "high-strength steel")
    family: str | None = None
    jobs: tuple[str, ...] | None = None
    crews: tuple[str, ...] | None = None
    divers: tuple[str, ...] | None = None
    since: date | None = None
    until: date | None = None

    def as_json(self) -> dict[str, Any]:
        """The filter as plain values, None where nothing is filtered."""
        values = asdict(self)
        return {
            key: list(value) if isinstance(value, tuple) else value.isoformat() if isinstance(value, date) else value
            for key, value in values.items()
        }


def _standing(
    codes: NDArray[np.intp], count: int, values: pd.Series, allowed: tuple[str, ...]
) -> Mapping[str, NDArray[np.bool_]]:
    """How the values of each tally's cuts stand to `allowed`: masks over the tallies."""
    known = values.notna().to_numpy()
    inside = values.isin(allowed).to_numpy()
    n_inside = np.bincount(codes, weights=inside, minlength=count)
    n_other = np.bincount(codes, weights=known & ~inside, minlength=count)
    n_missing = np.bincount(codes, weights=~known, minlength=count)
    return {
        "outside": (n_other > 0) & (n_inside == 0) & (n_missing == 0),
        "mixed": (n_other > 0) & ((n_inside > 0) | (n_missing > 0)),
        "missing": (n_other == 0) & (n_missing > 0),
    }


def judged(scope: Scope, rows: pd.DataFrame, tallies: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    """Hold tallies against a scope.

    Parameters
    ----------
    rows : DataFrame
        One row per tally and cut, with `tally_id` and the cut's columns; a tally without cuts has one row
        with what its dive says.
    tallies : DataFrame
        Indexed by tally_id, with `job` and `family`.

    Returns
    -------
    outside, left_out : Series of str
        The reason for each tally, missing where there is none. `outside` wins over `left_out`.
    """
    count = len(tallies)
    codes = tallies.index.get_indexer(pd.Index(rows["tally_id"]))
    outside = np.full(count, None, dtype=object)
    left_out = np.full(count, None, dtype=object)

    def mark(target: NDArray[np.object_], mask: NDArray[np.bool_], reason: str) -> None:
        target[mask & pd.isna(target)] = reason

    def hold(values: pd.Series, allowed: tuple[str, ...], what: str, *, missing_is_kept: bool = False) -> None:
        stands = _standing(codes, count, values, allowed)
        mark(outside, stands["outside"], what)
        mark(left_out, stands["mixed"], f"{what}: inside and outside the filter in one count")
        if not missing_is_kept:
            mark(left_out, stands["missing"], f"{what} not recorded")

    hold(rows["setting"], (scope.setting,), "setting")
    hold(rows["record_class"], (scope.record_class,), "record class")
    unknown = rows["material"].eq("unknown").fillna(False).to_numpy(dtype=bool)
    mark(left_out, np.bincount(codes, weights=unknown, minlength=count) > 0, "material unknown")
    usual = "carbon steel" in scope.materials  # what a sheet means that names no steel; it never means cast iron
    hold(rows["material"].mask(unknown), scope.materials, "material", missing_is_kept=usual)
    if scope.family is not None:
        family = pd.Series(tallies["family"].to_numpy()[codes]).fillna(rows["family"].reset_index(drop=True))
        hold(family, (scope.family,), "rod family")
    if scope.jobs is not None:
        mark(outside, ~tallies["job"].isin(scope.jobs).to_numpy(), "job")
    if scope.crews is not None:
        hold(rows["crew"], scope.crews, "crew")
    if scope.divers is not None:
        hold(rows["diver"], scope.divers, "diver")
    if scope.since is not None or scope.until is not None:
        day = rows["dive_date"].dt.normalize()
        first = pd.Timestamp(scope.since) if scope.since is not None else pd.Timestamp.min
        last = pd.Timestamp(scope.until) if scope.until is not None else pd.Timestamp.max
        within = pd.Series(np.where((day >= first) & (day <= last), "in", "out"), dtype=object)
        hold(within.mask(day.isna().to_numpy()), ("in",), "day")
    return (
        pd.Series(outside, index=tallies.index, dtype=object),
        pd.Series(left_out, index=tallies.index, dtype=object),
    )
