"""Where the rods of a dive went: what was issued, came back, was lit or lost, and what nobody can account for.

Nothing here is mended. A box that does not balance is shown and kept; a blank is a blank and never nought.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Any, NamedTuple

import numpy as np

from burnlog.columns import Frames
from burnlog.errors import InputError

__all__ = ["RodBalance", "StubCount", "rod_equivalents", "rods_balance", "stub_counts"]

SHORT_STUB = "burned below the planned stub: short stubs clog arrestors and risk fire up the rod"
"""Source: the US Navy manual text on arrestors and stubs, `us-navy-cutting-manual`."""


@dataclass(frozen=True)
class RodBalance:
    """The box of one dive (or day) and rod type: issued = returned + started + lost + broken or wet.

    Counts are None where nobody wrote them. `started` is rods lit, whole and part-burned; its `started_basis` is
    ``measured``, ``estimated``, ``at least`` ... or ``not recorded``. `unaccounted` is None where `issued`,
    `returned` or `started` is blank or only a bound; rods lost or broken that nobody wrote down stay in it.
    """

    job: str
    dive: str
    rod_type: str | None
    sheet: str | None
    issued: float | None
    returned: float | None
    started: float | None
    started_basis: str
    lost: float | None
    broken_or_wet: float | None

    @property
    def blanks(self) -> tuple[str, ...]:
        """Terms without which there is no balance, and that nobody wrote down."""
        terms = (("issued", self.issued), ("returned", self.returned), ("started", self.started))
        return tuple(name for name, value in terms if value is None)

    @property
    def unexplained(self) -> tuple[str, ...]:
        """Blank terms that could explain what is unaccounted."""
        terms = (("lost", self.lost), ("broken or wet", self.broken_or_wet))
        return tuple(name for name, value in terms if value is None)

    @property
    def unaccounted(self) -> float | None:
        """Rods that went out and are neither back, lit, lost nor broken; below 0 where more is told than issued."""
        if self.blanks or self.started_basis in ("at least", "at most"):
            return None
        assert self.issued is not None
        assert self.returned is not None
        assert self.started is not None
        return self.issued - self.returned - self.started - (self.lost or 0.0) - (self.broken_or_wet or 0.0)

    def sentence(self) -> str:
        """What the balance says, in words.

        Examples
        --------
        >>> RodBalance("PIER7", "PIER7 14", "EX38", None, 40, 6, 29, "measured", 2, None).sentence()
        '3 rods unaccounted (broken or wet not recorded)'
        """
        left = self.unaccounted
        if left is None:
            if self.blanks:
                return f"cannot balance, {len(self.blanks)} blank ({', '.join(self.blanks)})"
            return f"cannot balance, rods started are {self.started_basis} {self.started:g}"
        about = ", started is an estimate" if self.started_basis == "estimated" else ""
        if left == 0:
            return "balances" + about
        if left < 0:
            return f"{_rods(-left)} more than issued{about}"
        blank = f" ({' and '.join(self.unexplained)} not recorded)" if self.unexplained else ""
        return f"{_rods(left)} unaccounted{blank}{about}"

    def as_json(self) -> dict[str, Any]:
        """Stable keys; counts are None where not recorded."""
        return {**asdict(self), "unaccounted": self.unaccounted, "sentence": self.sentence()}


def _rods(number: float) -> str:
    return f"{number:g} rod" + ("" if number == 1 else "s")


def rods_balance(frames: Frames) -> tuple[RodBalance, ...]:
    """The box of every dive and rod type that has a count or a box count, in the order of the record.

    Parameters
    ----------
    frames : Frames

    Returns
    -------
    tuple of RodBalance
    """
    tallies = frames.tallies
    if tallies.empty:
        return ()
    parts = frames.rod_parts["tally_id"].value_counts()
    lit = np.ceil(tallies["rods"].astype(float)) + tallies["tally_id"].map(parts).fillna(0)  # half a rod was lit too
    where = tallies["dive_ref"].fillna(tallies["job"] + " " + tallies["day"].dt.strftime("%Y-%m-%d"))
    held: dict[tuple[str, str, str], list[_Count]] = {}
    for key, count in zip(
        zip(
            *(texts.astype(object) for texts in (tallies["job"], where, tallies["rod_type"].fillna(""))), strict=True
        ),
        map(
            _Count,
            tallies["scope"].eq("box").tolist(),
            lit.tolist(),
            tallies["rods_basis"].astype(object).tolist(),
            *(tallies[name].tolist() for name in ("issued", "returned", "lost", "broken_or_wet")),
        ),
        strict=True,
    ):
        held.setdefault(key, []).append(count)
    uncounted = _dives_with_uncounted_cuts(frames)
    dives = frames.dives.sort_values(["dive_date", "job", "dive_no"], kind="stable")
    refs = dives["dive_ref"].astype(object).tolist()
    sheets = dict(zip(refs, dives["sheet"].astype(object), strict=True))
    order = {ref: place for place, ref in enumerate(refs)}
    out = [_balance(key, counts, key[1:] in uncounted, _text(sheets.get(key[1]))) for key, counts in held.items()]
    return tuple(sorted(out, key=lambda b: (order.get(b.dive, len(order)), b.rod_type or "")))


class _Count(NamedTuple):
    """One count of rods, or a box count alone."""

    box: bool
    lit: float
    basis: str
    issued: float
    returned: float
    lost: float
    broken_or_wet: float


def _balance(key: tuple[str, str, str], counts: Sequence[_Count], uncounted: bool, sheet: str | None) -> RodBalance:
    """The box of one dive and rod type from its counts."""
    job, dive, rod_type = key
    of_rods = [count for count in counts if not count.box]
    started = math.fsum(count.lit for count in of_rods) if of_rods and not uncounted else math.nan
    bases = {count.basis for count in of_rods}
    bound = next((basis for basis in ("at least", "at most", "estimated") if basis in bases), "measured")
    return RodBalance(
        job=job,
        dive=dive,
        rod_type=rod_type or None,
        sheet=sheet,
        issued=_sum(count.issued for count in counts),
        returned=_sum(count.returned for count in counts),
        started=_known(started),
        started_basis="not recorded" if math.isnan(started) else bound,
        lost=_sum(count.lost for count in counts),
        broken_or_wet=_sum(count.broken_or_wet for count in counts),
    )


def _sum(values: Iterable[float]) -> float | None:
    """Sum of what was written, None where nothing was."""
    known = [value for value in values if not math.isnan(value)]
    return math.fsum(known) if known else None


def _dives_with_uncounted_cuts(frames: Frames) -> set[tuple[str, str]]:
    """(dive, rod type) of cuts that no count covers: their rods are unknown, so the sum is."""
    counted = frames.tallies.loc[~frames.tallies["scope"].eq("box"), "tally_id"]
    covered = frames.tally_cuts.loc[frames.tally_cuts["tally_id"].isin(counted), "cut_id"]
    bare = frames.cuts[~frames.cuts["cut_id"].isin(covered)]
    return set(zip(bare["dive_ref"], bare["rod_type"].fillna(""), strict=True))


def rod_equivalents(
    full: float, stubs_mm: Sequence[float], *, length_mm: float | None, planned_stub_mm: float | None
) -> float | None:
    """Burned length in full rods: whole ones, and (length - stub) / (length - planned stub) for each part-burned one.

    Parameters
    ----------
    full : float
        Rods burned down to the planned stub.
    stubs_mm : sequence of float
        What was left of each other rod [mm].
    length_mm, planned_stub_mm : float or None
        Of the rod type [mm]; None where not known.

    Returns
    -------
    float or None
        None where stubs were measured and the rod type has no length or no planned stub.

    Raises
    ------
    InputError
        A stub below 0 or longer than the rod, or a planned stub as long as the rod.

    Examples
    --------
    >>> round(rod_equivalents(7, (152.4,), length_mm=457.2, planned_stub_mm=76.2), 2)
    7.8
    """
    if not stubs_mm:
        return full
    if length_mm is None or planned_stub_mm is None or math.isnan(length_mm) or math.isnan(planned_stub_mm):
        return None
    if planned_stub_mm >= length_mm:
        raise InputError(f"a planned stub of {planned_stub_mm:g} mm leaves nothing of a {length_mm:g} mm rod to burn")
    for stub in stubs_mm:
        if not 0 <= stub <= length_mm:
            raise InputError(f"a stub of {stub:g} mm cannot be left of a rod {length_mm:g} mm long")
    return full + math.fsum((length_mm - stub) / (length_mm - planned_stub_mm) for stub in stubs_mm)


@dataclass(frozen=True)
class StubCount:
    """A count with measured stubs: `equivalents` is None where the rod type does not say enough."""

    tally_no: int
    job: str
    dive: str | None
    rod_type: str | None
    full: float
    stubs_mm: tuple[float, ...]
    equivalents: float | None
    caution: str | None

    def as_json(self) -> dict[str, Any]:
        """Stable keys, SI."""
        return asdict(self)


def stub_counts(frames: Frames) -> tuple[StubCount, ...]:
    """Every count with measured stubs, with the caution where one was burned below the planned stub."""
    parts = {name: tuple(rows["stub_mm"]) for name, rows in frames.rod_parts.groupby("tally_id")}
    out = []
    held = frames.tallies[frames.tallies["tally_id"].isin(parts)].sort_values(["job", "tally_no"])
    for row in held.to_dict("records"):
        stubs = parts[row["tally_id"]]
        planned = _known(row["planned_stub_mm"])
        full = 0.0 if row["rods"] != row["rods"] else float(row["rods"])
        short = planned is not None and any(stub < planned for stub in stubs)
        equivalents = rod_equivalents(full, stubs, length_mm=_known(row["rod_length_mm"]), planned_stub_mm=planned)
        out.append(
            StubCount(
                tally_no=int(row["tally_no"]),
                job=str(row["job"]),
                dive=_text(row["dive_ref"]),
                rod_type=_text(row["rod_type"]),
                full=full,
                stubs_mm=stubs,
                equivalents=equivalents,
                caution=SHORT_STUB if short else None,
            )
        )
    return tuple(out)


def _known(value: Any) -> float | None:
    return None if value is None or value != value else float(value)


def _text(value: Any) -> str | None:
    return None if value is None or value != value else str(value)
