"""Groupings of rows: labels of any dtype as codes, levels in sorted order, rows by level."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from burnlog.errors import FitError, FrameError

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Factor", "RowOrder", "is_nested", "read_factor"]


@dataclass(frozen=True)
class Factor:
    """A grouping of the rows: its name, its levels in sorted order, and the level of each row (n,)."""

    name: str
    levels: pd.Index
    codes: NDArray[np.int32]

    def code_of(self, label: object) -> int:
        """Position of a level; -1 for a label the factor does not hold."""
        return int(self.levels.get_indexer_for(pd.Index([label]))[0])

    @property
    def size(self) -> int:
        return len(self.levels)


def read_factor(name: str, labels: Any, n: int) -> Factor:
    """Codes and sorted levels of one grouping; labels may be of any dtype, missing ones are refused."""
    values: Any = labels.array if isinstance(labels, pd.Series | pd.Index) else labels
    if not (isinstance(values, np.ndarray) or pd.api.types.is_extension_array_dtype(values)):
        values = pd.Series(list(values)).array
    if len(values) != n or getattr(values, "ndim", 1) != 1:
        raise FrameError(f"grouping {name!r} has {len(values)} labels for {n} rows.")
    codes, levels = pd.factorize(values)
    if codes.size and codes.min() < 0:
        row = int(np.argmin(codes))
        raise FitError(
            f"grouping {name!r} has no label in row {row} (counting from 0); leave the row out or give it one."
        )
    try:
        order = levels.argsort()
    except TypeError:  # labels of kinds that cannot be compared keep the order they came in
        order = np.arange(len(levels))
    place = np.empty(len(levels), dtype=np.int32)
    place[order] = np.arange(len(levels), dtype=np.int32)
    levels = levels.take(order)
    kind = None if levels.dtype.kind == "U" else levels.dtype  # pandas has no fixed-width text
    return Factor(name=name, levels=pd.Index(levels, dtype=kind), codes=place[codes])


def is_nested(inner: NDArray[np.int32], outer: NDArray[np.int32], size: int) -> bool:
    """Whether every level of `inner` (codes below `size`) lies within one level of `outer`."""
    host = np.zeros(size, dtype=np.int32)
    host[inner] = outer
    return bool(np.array_equal(host[inner], outer))


class RowOrder:
    """Rows sorted by level, worked out once for each factor that is asked for."""

    def __init__(self, factors: Sequence[Factor]) -> None:
        self._factors = factors
        self._known: dict[int, tuple[NDArray[np.intp], NDArray[np.intp]]] = {}

    def __getitem__(self, k: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        if k not in self._known:
            codes = self._factors[k].codes
            counted = np.bincount(codes, minlength=self._factors[k].size)
            self._known[k] = (np.argsort(codes, kind="stable"), np.concatenate([[0], np.cumsum(counted)]))
        return self._known[k]
