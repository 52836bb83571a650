"""Defects and events over their exposure, and the list of events.

Every rate has an exact interval, and *none recorded* is never shortened to *none*. Rates keep to one setting and
record class; the list shows every event of the jobs and days asked for. Names of people in free text are masked
unless the caller asks for them.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import pandas as pd

from burnlog.analyses.exposure import PER_RODS, Exposed, of_rods, per_exposure, share_of
from burnlog.analyses.hangers import HangerModel, hanger_model
from burnlog.analyses.scope import Scope
from burnlog.analyses.section_names import shapes
from burnlog.columns import Frames

__all__ = ["EventReview", "EventRow", "events", "mask_names"]

MASK = "[name]"
COMMON_PRACTICE = "most hangers of a practised hand are left at rod changes (common practice, no source)"
GRADES = ("clean", "rough", "ragged")


@dataclass(frozen=True)
class EventRow:
    """One event as recorded."""

    day: str | None
    job: str
    dive: str | None
    cut: str | None
    event: str
    outcome: str | None
    rig: str | None
    piece_kind: str | None
    setting: str | None
    count: int
    text: str | None


@dataclass(frozen=True)
class EventReview:
    """Rates over their exposure, and the events themselves.

    Attributes
    ----------
    rows : tuple of EventRow
        Every event of the jobs and days asked for, in every setting, in order of day.
    by_event : tuple of Exposed
        Events per 100 rods, word by word, on dives of the scope whose rods were counted.
    hangers, restarts : tuple of Exposed
        Per line, per rod change, per 100 rods; and the share of lines with any.
    edges : tuple of Exposed
        Share of each edge grade among the cuts where somebody looked.
    hangers_at : tuple of Exposed
        Where on the line hangers were left, as shares of those with a place.
    model : HangerModel
        Hangers on steel and rod changes, or why there is no such fit.
    """

    rows: tuple[EventRow, ...]
    by_event: tuple[Exposed, ...]
    hangers: tuple[Exposed, ...]
    restarts: tuple[Exposed, ...]
    edges: tuple[Exposed, ...]
    hangers_at: tuple[Exposed, ...]
    common_practice: str
    model: HangerModel
    lines: int
    cuts: int
    dives: int
    notes: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        """Stable keys; numbers in SI."""
        return {
            "events": [asdict(row) for row in self.rows],
            **{
                name: [figure.as_json() for figure in getattr(self, name)]
                for name in ("by_event", "hangers", "restarts", "edges", "hangers_at")
            },
            "common_practice": self.common_practice,
            "model": self.model.as_json(),
            "lines": self.lines,
            "cuts": self.cuts,
            "dives": self.dives,
            "notes": list(self.notes),
        }


def events(
    frames: Frames,
    scope: Scope = Scope(),  # noqa: B008
    *,
    names: Iterable[str] = (),
    with_names: bool = False,
) -> EventReview:
    """Count what went wrong over what there was to go wrong in.

    Parameters
    ----------
    frames : Frames
        The record.
    scope : Scope
        Setting, record class and the rest bear on the rates; jobs and days on the list as well.
    names : iterable of str
        Names of people the log knows; they are masked in free text, whole and part by part.
    with_names : bool
        Leave free text as written.

    Returns
    -------
    EventReview
    """
    listed = _within(frames.dives, scope, everything=True)
    dives = _within(frames.dives, scope, everything=False)
    cuts = frames.cuts[frames.cuts["dive_ref"].isin(dives["dive_ref"])]
    if scope.family is not None:
        cuts = cuts[cuts["family"].eq(scope.family)]
    rows = _event_rows(frames, listed, () if with_names else tuple(names))
    by_event, uncounted = _by_event(frames, dives)
    notes = []
    if uncounted:
        notes.append(f"{uncounted} events on dives without a rod count stand in the list, not in the rates")
    blank = int(dives["setting"].isna().sum())
    if blank:
        notes.append(f"{blank} dives without a setting are left out of the rates")
    return EventReview(
        rows=rows,
        by_event=by_event,
        hangers=_hangers(frames, cuts),
        restarts=_restarts(frames, cuts),
        edges=_edges(cuts),
        hangers_at=_hangers_at(cuts),
        common_practice=COMMON_PRACTICE,
        model=hanger_model(frames, cuts),
        lines=int(cuts["line_ref"].nunique()),
        cuts=len(cuts),
        dives=len(dives),
        notes=tuple(notes),
    )


def mask_names(text: str, names: Sequence[str]) -> str:
    """Replace known names of people, whole or any part of three letters or more, whatever their case.

    Examples
    --------
    >>> mask_names("Told Ann Berg; BERG closed it. Bergen is a town.", ["Ann Berg"])
    'Told [name]; [name] closed it. Bergen is a town.'
    """
    parts = {name.strip() for name in names if name.strip()}
    parts |= {piece for name in parts for piece in re.split(r"[^\w']+", name) if len(piece) >= 3}
    for part in sorted(parts, key=lambda p: (-len(p), p)):
        text = re.sub(rf"(?<!\w){re.escape(part)}(?!\w)", MASK, text, flags=re.IGNORECASE)
    return text


def _within(dives: pd.DataFrame, scope: Scope, *, everything: bool) -> pd.DataFrame:
    keep = pd.Series(True, index=dives.index)
    for column, wanted in (("job", scope.jobs), ("crew", scope.crews), ("diver", scope.divers)):
        if wanted is not None:
            keep &= dives[column].isin(wanted)
    if scope.since is not None:
        keep &= dives["dive_date"] >= pd.Timestamp(scope.since)
    if scope.until is not None:
        keep &= dives["dive_date"] < pd.Timestamp(scope.until) + pd.Timedelta(days=1)
    if not everything:
        keep &= dives["setting"].eq(scope.setting) & dives["record_class"].eq(scope.record_class)
    return dives[keep]


def _event_rows(frames: Frames, dives: pd.DataFrame, names: tuple[str, ...]) -> tuple[EventRow, ...]:
    happened = frames.happenings[frames.happenings["kind"] == "event"]
    known = happened["dive_ref"].isin(dives["dive_ref"])
    without = happened["dive_ref"].isna() & happened["job"].isin(dives["job"])
    happened = happened[known | without].copy()
    setting = dives.drop_duplicates("dive_ref").set_index("dive_ref")["setting"]
    cuts = frames.cuts.drop_duplicates("cut_id").set_index("cut_id")
    happened["setting"] = happened["dive_ref"].map(setting)
    happened["cut"] = happened["cut_id"].map(cuts["cut_ref"])
    happened["piece_kind"] = happened["cut_id"].map(shapes(cuts))
    happened = happened.sort_values(["happened_on", "job", "dive_ref", "word"], kind="stable")
    return tuple(
        EventRow(
            day=None if pd.isna(row["happened_on"]) else f"{row['happened_on']:%Y-%m-%d}",
            job=str(row["job"]),
            dive=_text(row["dive_ref"]),
            cut=_text(row["cut"]),
            event=mask_names(str(row["word"]), names),
            outcome=_text(row["outcome"]),
            rig=_text(row["rig"]),
            piece_kind=_text(row["piece_kind"]),
            setting=_text(row["setting"]),
            count=1 if pd.isna(row["count"]) else int(row["count"]),
            text=None if pd.isna(row["text"]) else mask_names(str(row["text"]), names),
        )
        for row in happened.to_dict("records")
    )


def _by_event(frames: Frames, dives: pd.DataFrame) -> tuple[tuple[Exposed, ...], int]:
    """Events per 100 rods on dives whose rods are known, and how many events stand on the others."""
    rods = of_rods(frames, list(dives["dive_ref"]))
    counted = set(rods.index[rods.notna()])
    happened = frames.happenings[frames.happenings["kind"] == "event"]
    mine = happened[happened["dive_ref"].isin(dives["dive_ref"])]
    on_counted = mine["dive_ref"].isin(counted)
    times = mine["count"].fillna(1.0)
    total = float(rods.sum())
    blank = int(rods.isna().sum())
    each = [
        per_exposure(
            str(word), times[on_counted & mine["word"].eq(word)].sum(), total, "rods", per=PER_RODS, blank=blank
        )
        for word in sorted(mine["word"].unique())
    ]
    whole = per_exposure("any event", times[on_counted].sum(), total, "rods", per=PER_RODS, blank=blank)
    return (whole, *each), int(times[~on_counted].sum())


def _by_line(cuts: pd.DataFrame, column: str) -> tuple[pd.Series[float], int]:
    """The sum of a column on each line where every cut of the line has it, and the number of other lines."""
    rows = cuts[cuts["line_ref"].notna()]
    summed = rows.groupby("line_ref")[column].agg(lambda s: s.sum(skipna=False))
    return summed.dropna(), int(summed.isna().sum())


def _rods_by_count(frames: Frames, cuts: pd.DataFrame, column: str) -> pd.DataFrame:
    """Counts whose every cut has `column`: rods lit, cuts, and the sum of the column."""
    parts = frames.rod_parts["tally_id"].value_counts()
    tallies = frames.tallies[frames.tallies["scope"].ne("box")].set_index("tally_id")
    rows = frames.tally_cuts.merge(cuts[["cut_id", column]], on="cut_id")
    whole = frames.tally_cuts["tally_id"].value_counts()
    by = rows.groupby("tally_id")[column]
    out = pd.DataFrame({"cuts": by.size(), "events": by.agg(lambda s: s.sum(skipna=False))})
    out["rods"] = tallies["rods"].reindex(out.index) + parts.reindex(out.index).fillna(0.0)
    return out[(out["cuts"] == whole.reindex(out.index)) & out.notna().all(axis=1)]


def _hangers(frames: Frames, cuts: pd.DataFrame) -> tuple[Exposed, ...]:
    lines, blank = _by_line(cuts, "hangers")
    counts = _rods_by_count(frames, cuts, "hangers")
    changes = float((counts["rods"] - counts["cuts"]).clip(lower=0.0).sum())
    without = int(cuts["hangers"].isna().sum())
    return (
        per_exposure("hangers", lines.sum(), len(lines), "lines", blank=blank),
        share_of("lines with a hanger", int((lines > 0).sum()), len(lines), "lines", blank=blank),
        per_exposure("hangers", counts["events"].sum(), changes, "rod changes", blank=without),
    )


def _restarts(frames: Frames, cuts: pd.DataFrame) -> tuple[Exposed, ...]:
    lines, blank = _by_line(cuts, "restarts")
    counts = _rods_by_count(frames, cuts, "restarts")
    without = int(cuts["restarts"].isna().sum())
    rods = float(counts["rods"].sum())
    return (
        per_exposure("restarts", lines.sum(), len(lines), "lines", blank=blank),
        per_exposure("restarts", counts["events"].sum(), rods, "rods", per=PER_RODS, blank=without),
    )


def _edges(cuts: pd.DataFrame) -> tuple[Exposed, ...]:
    seen = cuts[cuts["edge"].isin(GRADES)]
    blank = len(cuts) - len(seen)
    return tuple(
        share_of(f"edge {grade}", int(seen["edge"].eq(grade).sum()), len(seen), "cuts", blank=blank)
        for grade in GRADES
    )


def _hangers_at(cuts: pd.DataFrame) -> tuple[Exposed, ...]:
    placed = cuts[cuts["hangers"].gt(0) & cuts["hangers_at"].notna() & cuts["hangers_at"].ne("not known")]
    blank = int(cuts["hangers"].where(cuts["hangers"] > 0).sum() - placed["hangers"].sum())
    total = int(placed["hangers"].sum())
    at = placed.groupby("hangers_at")["hangers"].sum()
    return tuple(
        share_of(f"hangers {place}", int(at.get(place, 0)), total, "hangers", blank=blank)
        for place in ("at a rod change", "at the start", "at the end", "mid-line")
    )


def _text(value: Any) -> str | None:
    return None if pd.isna(value) else str(value)
