"""The record as counts: each tally with the cuts under it, its rods, its time, and what is wrong with it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from burnlog.columns import Frames

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["counted", "mixed_types", "net_time", "own_faults"]

NO_COUNT = "no rod count"
AT_LEAST = "rod count is at least"
AT_MOST = "rod count is at most"
NO_STUB = "stubs typed, but the rod type has no length or no planned stub"
ZERO_RODS = "0 rods over new length"
MIXED_RODS = "more than one rod type in one count"
OVERLAP = "counts overlap"
NO_LENGTH = "new length not recorded"
RODS_ONLY = "rods but no new length"
NO_FIRST = "pass without new length, and no usable count holds its line's first pass"
TRIAL_ONLY = "trial burn only"
NO_CUT = "no cut recorded under the count"
DECIDED = "left out by decision"

UNFINISHED = ("part way", "not through", "abandoned")
CUT_COLUMNS = [
    *("cut_id", "cut_ref", "cut_no", "job", "dive_ref", "dive_no", "row", "line_ref", "section_kind", "dive_date"),
    *("record_class", "setting", "diver", "crew", "rig", "visibility", "current", "material", "thickness_mm"),
    *("planned_length_m", "position", "fouling", "backing", "power", "rod_type", "family", "diameter_mm"),
    *("pass_kind", "new_length_m", "elapsed_s", "burn_s", "stoppage_s", "outcome"),
]


def counted(frames: Frames) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Every count that is not a box count, and its cuts; a cut under no count stands as a count never made."""
    tallies = frames.tallies[frames.tallies["scope"].ne("box").fillna(True)].set_index("tally_id")
    tallies = tallies.sort_values(["job", "tally_no"], kind="stable")
    cuts = (
        frames.cuts[CUT_COLUMNS]
        .set_index("cut_id", drop=False)
        .sort_values(["job", "dive_date", "dive_no", "row", "cut_no"], kind="stable")
    )
    links = frames.tally_cuts[frames.tally_cuts["tally_id"].isin(tallies.index)]
    links = links[links["cut_id"].isin(cuts.index)].drop_duplicates()
    bare = cuts.loc[~cuts.index.isin(links["cut_id"])]
    if len(bare):
        pseudo = pd.DataFrame(
            {
                "tally_no": -1,
                "job": bare["job"].to_numpy(),
                "scope": "cut",
                "dive_ref": bare["dive_ref"].to_numpy(),
                "day": bare["dive_date"].to_numpy(),
                "rod_type": bare["rod_type"].to_numpy(),
                "family": bare["family"].to_numpy(),
                "rods": np.nan,
            },
            index=pd.Index(["cut " + ref for ref in bare["cut_id"]], name="tally_id"),
        )
        tallies = pd.concat([tallies, pseudo.astype({"scope": tallies["scope"].dtype})])
        links = pd.concat(
            [links, pd.DataFrame({"tally_id": pseudo.index, "cut_id": bare["cut_id"].to_numpy()}, dtype="str")]
        )
    order = pd.Series(np.arange(len(cuts)), index=cuts.index)
    links = links.assign(
        order=order.reindex(links["cut_id"]).to_numpy(), of=tallies.index.get_indexer(pd.Index(links["tally_id"]))
    ).sort_values(["of", "order"])
    rows = cuts.iloc[links["order"].to_numpy()].reset_index(drop=True)
    rows.insert(0, "tally_id", links["tally_id"].to_numpy())
    rows["order"] = links["order"].to_numpy()
    rows["first"] = rows["pass_kind"].fillna("first").eq("first")
    without = tallies.loc[~tallies.index.isin(links["tally_id"])]
    if len(without):  # a count without cuts still belongs to a setting: its dive says which
        dive = frames.dives.set_index("dive_ref").reindex(without["dive_ref"])
        stand_in = {name: dive[name].to_numpy() for name in ("setting", "record_class", "crew", "diver", "dive_date")}
        extra = pd.DataFrame({**stand_in, "tally_id": without.index, "first": False})
        rows = pd.concat([rows, extra], ignore_index=True)
    tallies["ref"] = _references(tallies, rows)
    rods = _equivalents(tallies, frames.rod_parts)
    return tallies.assign(rods=rods["rods"], no_stub=rods["no_stub"]), rows


def _references(tallies: pd.DataFrame, rows: pd.DataFrame) -> pd.Series:
    """How people find a count: its number and the cut, dive or job it was made over."""
    first = rows.dropna(subset=["cut_ref"]).drop_duplicates("tally_id").set_index("tally_id")["cut_ref"]
    cut_ref = first.reindex(tallies.index)
    wider = tallies["dive_ref"].fillna(tallies["job"])
    place = wider.where(tallies["scope"].ne("cut"), cut_ref).fillna(wider)
    named = "tally " + tallies["tally_no"].astype(int).astype("str") + " (" + place + ")"
    return named.where(tallies["tally_no"] >= 0, "cut " + place)


def _equivalents(tallies: pd.DataFrame, parts: pd.DataFrame) -> pd.DataFrame:
    """Rods with part-burned ones as (length - stub) / (length - planned stub)."""
    out = pd.DataFrame({"rods": tallies["rods"].astype(float), "no_stub": False}, index=tallies.index)
    parts = parts[parts["tally_id"].isin(tallies.index)].sort_values(["tally_id", "stub_mm"])
    if parts.empty:
        return out
    of = tallies.loc[parts["tally_id"]]
    length = of["rod_length_mm"].to_numpy(dtype=float)
    planned = of["planned_stub_mm"].to_numpy(dtype=float)
    share = (length - parts["stub_mm"].to_numpy(dtype=float)) / np.where(length > planned, length - planned, np.nan)
    summed = pd.Series(share, index=parts["tally_id"]).groupby(level=0).agg(lambda s: s.sum(skipna=False))
    out.loc[summed.index, "rods"] += summed
    out.loc[summed.index[summed.isna()], "no_stub"] = True
    return out


def own_faults(tallies: pd.DataFrame, rows: pd.DataFrame, why: pd.Series, leave_out: set[str]) -> pd.Series:
    """The first reason for which a count cannot be used, looking at it alone and at its neighbours."""
    why = why.copy()

    def mark(mask: pd.Series | NDArray[np.bool_], reason: str) -> None:
        why[np.asarray(mask, dtype=bool) & why.isna().to_numpy()] = reason

    def any_of(mask: pd.Series) -> NDArray[np.bool_]:
        return np.asarray(tallies.index.isin(rows.loc[mask.fillna(False).to_numpy(dtype=bool), "tally_id"]))

    if leave_out:
        named = rows["cut_id"].isin(leave_out) | rows["cut_ref"].isin(leave_out) | rows["dive_ref"].isin(leave_out)
        own = tallies.index.isin(leave_out) | tallies["ref"].isin(leave_out) | tallies["dive_ref"].isin(leave_out)
        numbers = "tally " + tallies["tally_no"].astype(int).astype("str")
        mark(own | numbers.isin(leave_out) | any_of(named), DECIDED)
    held = rows[rows["tally_id"].isin(tallies.index[tallies["rods"].notna()]) & rows["cut_id"].notna()]
    rod_type = tallies["rod_type"].reindex(held["tally_id"]).set_axis(held.index)
    shared = held.duplicated("cut_id", keep=False)
    types = rod_type[shared].fillna("?").groupby(held.loc[shared, "cut_id"]).nunique()
    several = held["cut_id"].map(types).gt(1)
    mark(tallies.index.isin(held.loc[shared & ~several, "tally_id"]), OVERLAP)
    mark(tallies.index.isin(held.loc[shared & several, "tally_id"]), MIXED_RODS)
    mark(mixed_types(tallies, rows, pd.Series(tallies.index, index=tallies.index)), MIXED_RODS)
    mark(tallies["no_stub"], NO_STUB)
    mark(tallies["rods"].isna(), NO_COUNT)
    mark(tallies["rods_basis"].eq("at least").fillna(False), AT_LEAST)
    mark(tallies["rods_basis"].eq("at most").fillna(False), AT_MOST)
    mark(~any_of(rows["cut_id"].notna()), NO_CUT)
    blank = rows["first"] & rows["new_length_m"].isna()
    stopped = rows["outcome"].isin(UNFINISHED)
    mark(any_of(blank & ~stopped), NO_LENGTH)
    length = rows["new_length_m"].where(rows["first"]).groupby(rows["tally_id"]).sum().reindex(tallies.index)
    nothing = any_of(rows["first"]) & (length.to_numpy() <= 0)
    mark(nothing & any_of(blank | stopped), RODS_ONLY)
    mark(any_of(blank) | nothing, NO_LENGTH)
    mark(any_of(rows["first"]) & (tallies["rods"].to_numpy() <= 0), ZERO_RODS)
    return why


def mixed_types(tallies: pd.DataFrame, rows: pd.DataFrame, group: pd.Series) -> pd.Series:
    """Whether the counts of a group name more than one rod type, by tally."""
    named = pd.concat([tallies["rod_type"], rows.dropna(subset=["cut_id"]).set_index("tally_id")["rod_type"]])
    of = group.reindex(named.index).to_numpy()
    several = named.groupby(of).nunique()
    return group.map(several).gt(1).fillna(False)


def net_time(rows: pd.DataFrame, by: str) -> pd.Series:
    """Elapsed less stoppages, summed; missing unless every cut has it and no time is broken."""
    breach = rows["burn_s"].gt(rows["elapsed_s"]) | rows["stoppage_s"].gt(rows["elapsed_s"])
    net = (rows["elapsed_s"] - rows["stoppage_s"].fillna(0)).mask(breach)
    total = net.groupby(rows[by]).sum()
    missing = net.isna().groupby(rows[by]).any()
    return total.mask(missing).where(total > 0)
