"""Seeded luck that gives the same draws on every machine and every version of the language.

Only `Random.random()` is promised to repeat from version to version; everything here is made from it.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from statistics import NormalDist
from typing import TypeVar

__all__ = ["Luck"]

T = TypeVar("T")
_NORMAL = NormalDist()


class Luck:
    """A stream of draws of its own for each key, so that one job can change without moving another."""

    def __init__(self, *key: object) -> None:
        self._random = random.Random(":".join(str(part) for part in key))

    def unit(self) -> float:
        """A number in [0, 1)."""
        return self._random.random()

    def between(self, low: float, high: float) -> float:
        """A number between two others, all alike."""
        return low + (high - low) * self.unit()

    def whole(self, low: int, high: int) -> int:
        """A whole number from `low` to `high`, both included."""
        return low + int(self.unit() * (high - low + 1))

    def chance(self, share: float) -> bool:
        """True in this share of the draws."""
        return self.unit() < share

    def normal(self, sd: float) -> float:
        """A draw around 0 with this standard deviation."""
        return sd * _NORMAL.inv_cdf(min(max(self.unit(), 1e-9), 1 - 1e-9))

    def pick(self, things: Sequence[T]) -> T:
        """One of the things, all alike."""
        return things[int(self.unit() * len(things))]

    def weighted(self, pairs: Sequence[tuple[T, float]]) -> T:
        """One of the things, by weight."""
        place = self.unit() * sum(weight for _, weight in pairs)
        for thing, weight in pairs:
            place -= weight
            if place < 0:
                return thing
        return pairs[-1][0]
