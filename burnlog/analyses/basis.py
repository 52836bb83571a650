"""What a bid rests on: the tallies used, and the history's own ratios of rods drawn, oxygen and cutting time.

Everything an estimate reads from the record is in a `Basis`, and a `Basis` goes to plain values and back, so that
a frozen estimate repeats whatever happens to the log afterwards.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from burnlog.analyses.accounts import rods_balance
from burnlog.analyses.oxygen_use import oxygen_use
from burnlog.analyses.record import counted
from burnlog.analyses.scope import Scope
from burnlog.analyses.tallies import TallySet, decided_out, gather
from burnlog.columns import Frames

__all__ = ["Basis", "JobRatio", "basis_of", "cutting_share", "drawn_per_rod", "oxygen_per_rod"]

FEWEST_JOBS = 3
"""Jobs below which a ratio has no range for the next job."""


@dataclass(frozen=True)
class JobRatio:
    """A ratio of sums by job, and how far jobs lie apart.

    Attributes
    ----------
    over, under : tuple of float
        Sums of each job, in the order of `jobs`; the ratio is over/under.
    jobs : tuple of str
    rows : int
        Windows, dives or boxes behind it.
    """

    over: tuple[float, ...]
    under: tuple[float, ...]
    jobs: tuple[str, ...]
    rows: int

    @classmethod
    def of(cls, rows: pd.DataFrame, over: str, under: str) -> JobRatio | None:
        """The ratio from rows with a column `job`; None below three jobs, which give no range."""
        sums = rows.groupby("job")[[over, under]].sum()
        sums = sums[(sums[over] > 0) & (sums[under] > 0)]
        if len(sums) < FEWEST_JOBS:
            return None
        return cls(
            tuple(float(value) for value in sums[over]),
            tuple(float(value) for value in sums[under]),
            tuple(str(job) for job in sums.index),
            int(rows["job"].isin(sums.index).sum()),
        )

    @property
    def pooled(self) -> float:
        """Sum over sum."""
        return math.fsum(self.over) / math.fsum(self.under)

    def draw(self, draws: int, rng: np.random.Generator) -> NDArray[np.float64]:
        """The ratio of the next job, (draws,): t about the pooled ratio on the log scale, on jobs - 1.

        The spread is that between the jobs' own ratios, so it holds both the jobs and the chance of few rods.
        """
        logs = np.log(np.array(self.over) / np.array(self.under))
        spread = float(np.std(logs, ddof=1)) * math.sqrt(1 + 1 / len(logs))
        return np.asarray(self.pooled * np.exp(spread * rng.standard_t(len(logs) - 1, draws)))


@dataclass(frozen=True, eq=False)
class Basis:
    """What an estimate rests on.

    Attributes
    ----------
    tallyset : TallySet
    drawn, oxygen, share : JobRatio or None
        Rods drawn per rod equivalent; kg of oxygen per rod; cut time per second on the bottom after start-up.
    rod_types, banks : mapping of code to mapping
        As in the log.
    prices, rules : tuple of mapping
        The user's own, each with its source.
    made_up : bool
    db_id : str
    closed_space : bool
        Some piece in the scope is closed or could hold gas, or nobody said.
    with_decided : TallySet or None
        The tallies with those in that a decision leaves out of `tallyset`; None where no decision left any out.
    """

    tallyset: TallySet
    drawn: JobRatio | None
    oxygen: JobRatio | None
    share: JobRatio | None
    rod_types: Mapping[str, Mapping[str, Any]]
    banks: Mapping[str, Mapping[str, Any]]
    prices: tuple[Mapping[str, Any], ...]
    rules: tuple[Mapping[str, Any], ...]
    made_up: bool
    db_id: str
    closed_space: bool
    with_decided: TallySet | None = None

    def as_json(self) -> dict[str, Any]:
        """Plain values from which `from_json` makes the same basis."""
        kept = self.with_decided
        return {
            **_tallies_json(self.tallyset),
            "with_decided": None if kept is None else _tallies_json(kept),
            "scope": self.tallyset.scope.as_json(),
            **{name: _maybe(getattr(self, name)) for name in ("drawn", "oxygen", "share")},
            "rod_types": {code: dict(row) for code, row in self.rod_types.items()},
            "banks": {code: dict(row) for code, row in self.banks.items()},
            "prices": [dict(row) for row in self.prices],
            "rules": [dict(row) for row in self.rules],
            "made_up": self.made_up,
            "db_id": self.db_id,
            "closed_space": self.closed_space,
        }

    @classmethod
    def from_json(cls, value: Mapping[str, Any]) -> Basis:
        """The basis that `as_json` wrote."""
        scope = dict(value["scope"])
        for key, text in scope.items():
            if key in ("since", "until") and text is not None:
                scope[key] = dt.date.fromisoformat(text)
            elif isinstance(text, list):
                scope[key] = tuple(text)
        kept = value.get("with_decided")
        ratios = {name: _ratio(value[name]) for name in ("drawn", "oxygen", "share")}
        return cls(
            tallyset=_tallyset(value, Scope(**scope)),
            with_decided=None if kept is None else _tallyset(kept, Scope(**scope)),
            rod_types=value["rod_types"],
            banks=value["banks"],
            prices=tuple(value["prices"]),
            rules=tuple(value["rules"]),
            made_up=bool(value["made_up"]),
            db_id=str(value["db_id"]),
            closed_space=bool(value["closed_space"]),
            **ratios,
        )


def basis_of(frames: Frames, scope: Scope = Scope(), *, db_id: str = "", leave_out: Sequence[str] = ()) -> Basis:  # noqa: B008
    """Read from the record what an estimate rests on.

    Parameters
    ----------
    frames : Frames
    scope : Scope
    db_id : str
        Identity of the log, printed on pages.
    leave_out : sequence of str
        Targets to leave out beside those that a decision leaves out.
    """
    decided = decided_out(frames)
    tallyset = gather(frames, scope, leave_out=(*decided, *leave_out))
    kept = gather(frames, scope, leave_out=leave_out) if decided else tallyset
    cuts = frames.cuts[frames.cuts["cut_id"].isin(tallyset.pieces["cut_id"])]
    dives = set(cuts["dive_ref"])
    return Basis(
        tallyset=tallyset,
        drawn=drawn_per_rod(frames, dives),
        oxygen=oxygen_per_rod(frames, dives),
        share=cutting_share(frames, dives),
        rod_types=_rows(frames.rod_types, "rod_type"),
        banks=_rows(frames.banks, "bank"),
        prices=_sourced(frames, "price"),
        rules=_sourced(frames, "rule"),
        made_up=bool(frames.jobs["made_up"].any()),
        db_id=db_id,
        closed_space=bool((cuts["closed_space"].fillna("unknown") != "open").any()),
        with_decided=kept if len(kept.tallies) > len(tallyset.tallies) else None,
    )


def drawn_per_rod(frames: Frames, dives: set[str]) -> JobRatio | None:
    """Rods out of the box per rod equivalent burned, on dives where both were counted."""
    tallies, _ = counted(frames)
    used = tallies[tallies["dive_ref"].isin(dives)]
    burned = _whole_sums(used["rods"], [used["dive_ref"], used["rod_type"].fillna("")]).to_dict()
    rows = [
        {"job": box.job, "drawn": box.issued - box.returned, "rods": burned[(box.dive, box.rod_type or "")]}
        for box in rods_balance(frames)
        if box.issued is not None
        and box.returned is not None
        and (box.dive, box.rod_type or "") in burned
        and box.started_basis in ("measured", "estimated")
    ]
    frame = pd.DataFrame(rows, columns=["job", "drawn", "rods"]).dropna()
    return JobRatio.of(frame[frame["rods"] > 0], "drawn", "rods")


def oxygen_per_rod(frames: Frames, dives: set[str]) -> JobRatio | None:
    """Oxygen [kg] per rod, all-in, on windows of a bank with readings at both ends and rods counted."""
    if frames.banks.empty:  # no contents, so no mass of oxygen
        return None
    windows = oxygen_use(frames).per_rod()
    return JobRatio.of(windows[windows["dive"].isin(dives)], "kg", "rods")


def cutting_share(frames: Frames, dives: set[str]) -> JobRatio | None:
    """Cut time net of stoppages over the time left on the bottom after start-up, on dives that have both.

    Time at the work stands in where the start-up was not written down.
    """
    cuts = frames.cuts[frames.cuts["dive_ref"].isin(dives)]
    net = _whole_sums(cuts["elapsed_s"] - cuts["stoppage_s"], cuts["dive_ref"])
    rows = frames.dives[frames.dives["dive_ref"].isin(dives)].set_index("dive_ref")
    after = (rows["bottom_time_s"] - rows["start_up_s"]).fillna(rows["work_time_s"])
    frame = pd.DataFrame({"job": rows["job"], "cut_s": net.reindex(rows.index), "there_s": after}).dropna()
    return JobRatio.of(frame[(frame["cut_s"] > 0) & (frame["cut_s"] <= frame["there_s"])], "cut_s", "there_s")


def _whole_sums(values: pd.Series, by: Any) -> pd.Series:
    """Sums by group, NaN where a value of the group is missing."""
    missing = values.isna().groupby(by if isinstance(by, pd.Series) else list(by)).any()
    return values.groupby(by if isinstance(by, pd.Series) else list(by)).sum().mask(missing)


def _rows(frame: pd.DataFrame, key: str) -> dict[str, dict[str, Any]]:
    return {str(row[key]): {str(k): _value(v) for k, v in row.items()} for row in frame.to_dict("records")}


def _sourced(frames: Frames, kind: str) -> tuple[dict[str, Any], ...]:
    rows = frames.sourced_values[frames.sourced_values["kind"] == kind]
    return tuple({str(k): _value(v) for k, v in row.items()} for row in rows.to_dict("records"))


def _value(value: Any) -> Any:
    """A cell as a plain value: NaN and NaT are None."""
    if value is None or value is pd.NaT or (isinstance(value, float) and math.isnan(value)):
        return None
    if isinstance(value, pd.Timestamp):
        return value.isoformat()
    return value.item() if hasattr(value, "item") else value


def _maybe(ratio: JobRatio | None) -> dict[str, Any] | None:
    return None if ratio is None else asdict(ratio)


def _ratio(value: Mapping[str, Any] | None) -> JobRatio | None:
    if value is None:
        return None
    return JobRatio(tuple(value["over"]), tuple(value["under"]), tuple(value["jobs"]), int(value["rows"]))


def _tallies_json(found: TallySet) -> dict[str, Any]:
    return {
        "tallies": _columns(found.tallies),
        "pieces": _columns(found.pieces),
        "rods_only": _columns(found.rods_only),
        "left_out": _lists(found.left_out),
        "outside": _lists(found.outside),
        "joined": dict(found.joined),
        "time_left_out": _lists(found.time_left_out),
        "notes": dict(found.notes),
    }


def _tallyset(value: Mapping[str, Any], scope: Scope) -> TallySet:
    return TallySet(
        tallies=_frame(value["tallies"]),
        pieces=_frame(value["pieces"]),
        left_out=_tuples(value["left_out"]),
        outside=_tuples(value["outside"]),
        joined=dict(value["joined"]),
        rods_only=_frame(value["rods_only"]),
        time_left_out=_tuples(value["time_left_out"]),
        notes=dict(value["notes"]),
        scope=scope,
    )


def _lists(groups: Mapping[str, Sequence[str]]) -> dict[str, list[str]]:
    return {key: list(refs) for key, refs in groups.items()}


def _tuples(groups: Mapping[str, Sequence[str]]) -> dict[str, tuple[str, ...]]:
    return {key: tuple(refs) for key, refs in groups.items()}


def _columns(frame: pd.DataFrame) -> dict[str, Any]:
    """A frame as plain values, with what is needed to make the same frame again."""
    return {
        "index": [_value(label) for label in frame.index],
        "index_name": frame.index.name,
        "columns": {
            str(name): {"dtype": str(frame[name].dtype), "values": [_value(v) for v in frame[name]]} for name in frame
        },
    }


def _frame(value: Mapping[str, Any]) -> pd.DataFrame:
    index = pd.Index(value["index"], name=value["index_name"])
    columns = {}
    for name, column in value["columns"].items():
        values = pd.Series(column["values"], index=index, dtype=object)
        if column["dtype"].startswith("datetime64"):
            values = pd.to_datetime(values)
        elif column["dtype"].startswith("float"):
            values = values.map(lambda v: math.nan if v is None else v)
        columns[name] = values.astype(column["dtype"])
    return pd.DataFrame(columns, index=index)
