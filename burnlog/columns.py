"""The column glossary: every frame that passes from the log to the analyses, column by column.

The log makes these frames (`burnlog.store.frames`), the analyses check them (`check`), and the pages take the
meaning of a column from here. Numbers are SI with the unit in the name; missing is NaN (or NaT), never 0.
Frames hold what was recorded and never anything derived from it: no rates, no rod equivalents, no balances.
Voided rows are not in them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

from burnlog.errors import FrameError

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["GLOSSARY", "Column", "Frames", "check", "empty", "shaped"]


@dataclass(frozen=True)
class Column:
    """One column: its name, kind (`text`, `number`, `whole`, `flag`, `time`), unit and meaning.

    `whole` columns are never missing. `time` is a local clock time without zone: the job's own.
    """

    name: str
    kind: str
    unit: str
    meaning: str


def _columns(*rows: tuple[str, str, str, str]) -> tuple[Column, ...]:
    return tuple(Column(*row) for row in rows)


GLOSSARY: Mapping[str, tuple[Column, ...]] = {
    "jobs": _columns(
        ("job", "text", "", "job code"),
        ("title", "text", "", "what the job was called"),
        ("purpose", "text", "", "vocabulary: purpose"),
        ("record_class", "text", "", "production, training or trial"),
        ("water", "text", "", "salt, fresh, brackish or none"),
        ("time_zone", "text", "", "zone of the job's clocks"),
        ("units_profile", "text", "", "us or metric: how its people read numbers"),
        ("start_date", "time", "", "first day"),
        ("end_date", "time", "", "last day"),
        ("made_up", "flag", "", "invented, not field data"),
    ),
    "dives": _columns(
        ("dive_ref", "text", "", "how people name it: job and dive number, `PIER7 14`"),
        ("job", "text", "", "job code"),
        ("dive_no", "whole", "", "number of the dive within the job"),
        ("dive_date", "time", "", "day of the dive"),
        ("sheet", "text", "", "number of the paper sheet"),
        ("log_ref", "text", "", "where the legal dive log holds this dive"),
        ("record_class", "text", "", "production, training or trial"),
        ("setting", "text", "", "open water, test tank or dry practice"),
        ("water", "text", "", "salt, fresh, brackish or none"),
        ("diver", "text", "", "code of who held the torch"),
        ("crew", "text", "", "crew label"),
        ("tender", "text", "", "code"),
        ("supervisor", "text", "", "code"),
        ("rig", "text", "", "code of torch, hose and power source"),
        ("bank", "text", "", "code of the oxygen bank"),
        ("depth_msw", "number", "msw", "depth of the work as a pressure; 1 msw = 10 kPa"),
        ("visibility", "text", "", "vocabulary: visibility"),
        ("current", "text", "", "vocabulary: current"),
        ("surge", "text", "", "vocabulary: surge"),
        ("water_temp_c", "number", "C", "water temperature"),
        ("bottom_time_s", "number", "s", "copied from the legal log"),
        ("work_time_s", "number", "s", "from arriving at the work to leaving it"),
        ("start_up_s", "number", "s", "set-up and clear-up on the bottom"),
        ("calls_made", "number", "", "hot and cold calls made"),
        ("calls_right", "number", "", "calls made correctly"),
        ("faults", "number", "", "safety faults seen"),
        ("made_up", "flag", "", "invented, not field data"),
    ),
    "lines": _columns(
        ("line_ref", "text", "", "job and line code, `PIER7 L14`"),
        ("job", "text", "", "job code"),
        ("line", "text", "", "line code within the job"),
        ("section", "text", "", "section or piece designation as on the drawing"),
        ("section_kind", "text", "", "plate, pipe, h section, ..."),
        ("material", "text", "", "vocabulary: material"),
        (
            "thickness_mm",
            "number",
            "mm",
            "thickness of the steel; the segments' length-weighted mean where it has some",
        ),
        ("thickness_basis", "text", "", "vocabulary: basis"),
        ("planned_length_m", "number", "m", "length of the cut line as planned"),
        ("length_basis", "text", "", "vocabulary: basis"),
        ("closed_space", "text", "", "open, closed or could hold gas, unknown"),
        ("interlocks", "number", "", "sheet-pile interlocks crossed"),
        ("state_noted", "text", "", "abandoned or removed another way, where somebody said so"),
        ("made_up", "flag", "", "invented, not field data"),
    ),
    "cuts": _columns(
        ("cut_id", "text", "", "permanent id"),
        ("cut_ref", "text", "", "how people name it: job, dive and row, `PIER7 14.3`"),
        ("cut_no", "whole", "", "short number people use"),
        ("job", "text", "", "job code"),
        ("dive_ref", "text", "", "dive it was made in"),
        ("dive_no", "whole", "", "number of the dive within the job"),
        ("row", "whole", "", "row within the dive"),
        ("line_ref", "text", "", "line it was made on"),
        ("line", "text", "", "line code within the job"),
        ("section", "text", "", "section or piece designation as on the drawing"),
        ("section_kind", "text", "", "plate, pipe, h section, ..."),
        ("dive_date", "time", "", "day of the dive"),
        ("record_class", "text", "", "production, training or trial"),
        ("setting", "text", "", "open water, test tank or dry practice"),
        ("diver", "text", "", "code of who held the torch"),
        ("crew", "text", "", "crew label"),
        ("rig", "text", "", "code of torch, hose and power source"),
        ("bank", "text", "", "code of the oxygen bank"),
        ("depth_msw", "number", "msw", "depth of the work as a pressure"),
        ("visibility", "text", "", "vocabulary: visibility"),
        ("current", "text", "", "vocabulary: current"),
        ("surge", "text", "", "vocabulary: surge"),
        ("material", "text", "", "vocabulary: material"),
        ("thickness_mm", "number", "mm", "as the row says it, else the line's"),
        ("planned_length_m", "number", "m", "planned length of its line"),
        ("closed_space", "text", "", "open, closed or could hold gas, unknown"),
        ("position", "text", "", "vocabulary: position"),
        ("fouling", "text", "", "vocabulary: fouling"),
        ("backing", "text", "", "vocabulary: backing"),
        ("power", "text", "", "power while burning: on, off or mixed"),
        ("rod_type", "text", "", "rod type code"),
        ("family", "text", "", "exothermic or tubular steel arc"),
        ("diameter_mm", "number", "mm", "outer diameter of the rod"),
        ("pass_kind", "text", "", "first, re-burn, hanger, pierce or trial; only first makes new length"),
        ("new_length_m", "number", "m", "length severed for the first time"),
        ("new_length_basis", "text", "", "vocabulary: basis"),
        ("start_at", "time", "", "first start"),
        ("stop_at", "time", "", "last stop"),
        ("elapsed_s", "number", "s", "first start to last stop, as clocked or as typed"),
        ("burn_s", "number", "s", "a rod actually burning"),
        ("hot_s", "number", "s", "switch closed"),
        ("stoppage_s", "number", "s", "stoppages inside the cut; 0 where none was written"),
        ("restarts", "number", "", "burn re-established without a rod change"),
        ("hangers", "number", "", "bits left that still hold the piece"),
        ("hangers_at", "text", "", "vocabulary: hangers_at"),
        ("set_a", "number", "A", "current as set at the panel"),
        ("delivered_a", "number", "A", "current by clamp meter"),
        ("static_kpa", "number", "kPa gauge", "regulator, no gas flowing"),
        ("flowing_kpa", "number", "kPa gauge", "regulator while gas flows"),
        ("bank_start_kpa", "number", "kPa gauge", "bank before the cut"),
        ("bank_end_kpa", "number", "kPa gauge", "bank after the cut"),
        ("edge", "text", "", "clean, rough, ragged or not seen"),
        ("outcome", "text", "", "through, through with hangers, part way, not through, abandoned, unknown"),
        ("technique", "text", "", "vocabulary: technique; several parted by `; `"),
        ("remark", "text", "", "as written"),
        ("twice_why", "text", "", "why it is a true second cut with line, start and stop of another"),
        ("made_up", "flag", "", "invented, not field data"),
    ),
    "tallies": _columns(
        ("tally_id", "text", "", "permanent id"),
        ("tally_no", "whole", "", "short number people use"),
        ("job", "text", "", "job code"),
        ("scope", "text", "", "cut, cuts, dive, day; box is a box count alone and never a rate"),
        ("dive_ref", "text", "", "dive it was counted in; missing for a day"),
        ("day", "time", "", "day it was counted on"),
        ("rod_type", "text", "", "rod type code"),
        ("family", "text", "", "exothermic or tubular steel arc"),
        ("rod_length_mm", "number", "mm", "length of a new rod of this type"),
        ("planned_stub_mm", "number", "mm", "stub planned to be left, from the rod type"),
        (
            "rods",
            "number",
            "",
            "rods burned full length, or the equivalents as stated; stubs stand in rod_parts",
        ),
        ("rods_basis", "text", "", "vocabulary: basis"),
        ("issued", "number", "", "rods out of the box"),
        ("returned", "number", "", "rods back unused"),
        ("lost", "number", "", "rods lost"),
        ("broken_or_wet", "number", "", "rods never lit: broken or wet"),
        ("would_not_light", "number", "", "rods that would not light"),
        ("made_up", "flag", "", "invented, not field data"),
    ),
    "tally_cuts": _columns(
        ("tally_id", "text", "", "tally"),
        ("cut_id", "text", "", "cut it covers"),
    ),
    "rod_parts": _columns(
        ("tally_id", "text", "", "tally"),
        ("stub_mm", "number", "mm", "length left of one part-burned rod"),
    ),
    "readings": _columns(
        ("job", "text", "", "job code"),
        ("dive_ref", "text", "", "dive it belongs to"),
        ("rig", "text", "", "rig read"),
        ("bank", "text", "", "bank read"),
        ("read_at", "time", "", "when"),
        ("after_rod", "number", "", "rods burned in the dive when it was read"),
        ("bank_kpa", "number", "kPa gauge", "bank"),
        ("static_kpa", "number", "kPa gauge", "regulator, no gas flowing"),
        ("flowing_kpa", "number", "kPa gauge", "regulator while gas flows"),
        ("flowing_typed_psi", "flag", "", "typed in psi: its step is judged in psi"),
        ("temp_c", "number", "C", "temperature of the bank"),
        ("gauge", "text", "", "which gauge"),
        ("reason", "text", "", "start, end, change-over, spot or series"),
        ("made_up", "flag", "", "invented, not field data"),
    ),
    "happenings": _columns(
        ("kind", "text", "", "stoppage, defect or event"),
        ("word", "text", "", "vocabulary of that kind"),
        ("job", "text", "", "job code"),
        ("dive_ref", "text", "", "dive"),
        ("cut_id", "text", "", "cut; missing where it belongs to the dive"),
        ("rig", "text", "", "rig in use"),
        ("count", "number", "", "how often"),
        ("seconds", "number", "s", "how long"),
        ("place", "text", "", "where on the line"),
        ("outcome", "text", "", "what came of an event"),
        ("text", "text", "", "as written"),
        ("happened_on", "time", "", "day"),
    ),
    "rod_types": _columns(
        ("rod_type", "text", "", "rod type code"),
        ("family", "text", "", "exothermic or tubular steel arc"),
        ("diameter_mm", "number", "mm", "outer diameter"),
        ("length_mm", "number", "mm", "length of a new rod"),
        ("planned_stub_mm", "number", "mm", "stub planned to be left"),
        ("stub_source", "text", "", "where the planned stub comes from"),
        ("pack_count", "number", "", "rods in a pack"),
    ),
    "rigs": _columns(
        ("rig", "text", "", "rig code"),
        ("power_kind", "text", "", "welding set, battery or other"),
        ("rated_a", "number", "A", "rated current"),
        ("hose_bore_mm", "number", "mm", "bore of the oxygen hose"),
        ("hose_length_m", "number", "m", "length of the oxygen hose"),
        ("source", "text", "", "where these come from"),
    ),
    "banks": _columns(
        ("bank", "text", "", "bank code"),
        ("cylinders", "number", "", "cylinders in the bank"),
        ("contents_kg_each", "number", "kg", "labelled contents of one cylinder"),
        ("label_kpa", "number", "kPa gauge", "pressure the label speaks of"),
        ("label_temp_c", "number", "C", "temperature the label speaks of"),
        ("route", "text", "", "label volume, water volume real gas or weighed"),
        ("purity_pct", "number", "%", "purity of the oxygen by its certificate"),
    ),
    "sourced_values": _columns(
        ("kind", "text", "", "section, rule or price"),
        ("name", "text", "", "designation, rule or thing priced"),
        ("value", "number", "", "the value, in `unit`"),
        ("unit", "text", "", "unit of the value"),
        ("detail", "text", "", "JSON: dimensions, thickness range, family, currency"),
        ("source", "text", "", "where it comes from"),
    ),
    "decisions": _columns(
        ("rule", "text", "", "rule that raised the flag"),
        ("target", "text", "", "tally, cut or dive it is about"),
        ("decision", "text", "", "keep, data-error or leave-out"),
        ("why", "text", "", "reason given"),
        ("decided_by", "text", "", "who"),
        ("decided_at", "time", "", "when"),
    ),
}


@dataclass(frozen=True)
class Frames:
    """The whole record as frames, one attribute for each entry of `GLOSSARY`."""

    jobs: pd.DataFrame
    dives: pd.DataFrame
    lines: pd.DataFrame
    cuts: pd.DataFrame
    tallies: pd.DataFrame
    tally_cuts: pd.DataFrame
    rod_parts: pd.DataFrame
    readings: pd.DataFrame
    happenings: pd.DataFrame
    rod_types: pd.DataFrame
    rigs: pd.DataFrame
    banks: pd.DataFrame
    sourced_values: pd.DataFrame
    decisions: pd.DataFrame

    def checked(self) -> Frames:
        """Hold every frame against the glossary; raises `FrameError`, returns self."""
        for field in fields(self):
            check(getattr(self, field.name), field.name)
        return self


_KINDS = {"text": "OSU", "number": "fiu", "whole": "iu", "flag": "b", "time": "M"}


def check(frame: pd.DataFrame, name: str) -> pd.DataFrame:
    """Hold a frame against its glossary entry.

    Parameters
    ----------
    frame : DataFrame
        Extra columns are allowed.
    name : str
        Entry of `GLOSSARY`.

    Returns
    -------
    DataFrame
        The same frame.

    Raises
    ------
    FrameError
        A column is missing or holds another kind of value.
    """
    for column in GLOSSARY[name]:
        if column.name not in frame.columns:
            raise FrameError(f"frame {name!r} has no column {column.name!r} ({column.meaning}).")
        kind = frame[column.name].dtype.kind
        if kind not in _KINDS[column.kind]:
            raise FrameError(
                f"frame {name!r}, column {column.name!r}: holds {frame[column.name].dtype}, expected {column.kind}."
            )
    return frame


_DTYPES = {"text": "str", "number": "float64", "whole": "int64", "flag": "bool", "time": "datetime64[us]"}


def empty(name: str) -> pd.DataFrame:
    """A frame of no rows with every column of the glossary entry `name`, of the right kind."""
    import pandas as pd

    return pd.DataFrame({c.name: pd.Series([], dtype=_DTYPES[c.kind]) for c in GLOSSARY[name]})


def shaped(rows: pd.DataFrame, name: str) -> pd.DataFrame:
    """Cast a frame to the kinds of the glossary entry `name`, in its order; absent columns come out missing.

    A `flag` that is missing is False.

    Raises
    ------
    FrameError
        A `whole` is missing: those never are.
    """
    import pandas as pd

    out: dict[str, pd.Series[Any]] = {}
    for column in GLOSSARY[name]:
        values = rows[column.name] if column.name in rows else pd.Series(None, index=rows.index, dtype=object)
        if column.kind == "time":
            out[column.name] = pd.to_datetime(values).astype("datetime64[us]")
        elif column.kind == "flag":
            out[column.name] = values.map(lambda v: bool(v) and v == v).astype(bool)
        elif column.kind == "text":
            out[column.name] = values.astype("str")
        elif column.kind == "whole":
            if values.isna().any():
                raise FrameError(f"frame {name!r}, column {column.name!r}: a value is missing, and none may be.")
            out[column.name] = values.astype("int64")
        else:
            out[column.name] = values.astype("float64")
    return pd.DataFrame(out, index=rows.index)
