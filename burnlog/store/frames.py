"""The record as frames: what was written, joined to what it belongs to, and nothing derived from it.

Voided rows, and what hangs from them, are left out. Rows come in the order of job, dive and row, whatever order they
were typed or merged in. Lengths become metres; everything else is as the log holds it.
"""

from __future__ import annotations

import sqlite3
from typing import TYPE_CHECKING

from burnlog.columns import GLOSSARY, Frames, shaped
from burnlog.store.connection import UNREADABLE, plain
from burnlog.store.tables import NUMBERED

if TYPE_CHECKING:
    import pandas as pd

    from burnlog.store.log import Log

__all__ = ["load_frames"]

_DIVE_REF = "j.code || ' ' || d.dive_no"


def _typed(table: str, column: str, part: int) -> str:
    """Part 0 is the text as typed, 1 its basis; a text another program broke counts as not there."""
    return f"CASE WHEN json_valid({table}.as_typed) THEN json_extract({table}.as_typed, '$.{column}[{part}]') END"


def _own(alias: str, table: str, frame: str, *more: str) -> str:
    """What a frame takes from a table as it stands there, and nothing else of it: rows are wide."""
    held = {*NUMBERED[table].columns(), *more}
    return ", ".join(f"{alias}.{column.name}" for column in GLOSSARY[frame] if column.name in held)


_LINES = """live_line AS (
  SELECT l.*, j.code AS job, j.made_up,
    coalesce((SELECT sum(s.length_mm * s.thickness_mm) / sum(s.length_mm) FROM segment s
      WHERE s.line_id = l.id AND s.voided_at IS NULL), l.thickness_mm) AS mean_thickness_mm
  FROM line l JOIN job j ON j.id = l.job_id WHERE l.voided_at IS NULL AND j.voided_at IS NULL)"""
_DIVES = f"""live_dive AS (
  SELECT d.*, j.code AS job, {_DIVE_REF} AS dive_ref, j.made_up, coalesce(d.record_class, j.record_class) AS class,
    coalesce(d.water, j.water) AS its_water, p.code AS diver, r.code AS rig, b.code AS bank
  FROM dive d JOIN job j ON j.id = d.job_id JOIN person p ON p.id = d.diver_id
  LEFT JOIN rig r ON r.id = d.rig_id LEFT JOIN bank b ON b.id = d.bank_id
  WHERE d.voided_at IS NULL AND j.voided_at IS NULL)"""
_CUTS = """live_cut AS (
  SELECT c.*, d.job, d.dive_no, d.dive_ref, d.made_up FROM cut c
  JOIN live_dive d ON d.id = c.dive_id JOIN line l ON l.id = c.line_id AND l.voided_at IS NULL
  WHERE c.voided_at IS NULL)"""

_QUERIES = {
    "jobs": """
  SELECT code AS job, title, purpose, record_class, water, time_zone, units_profile, start_date, end_date, made_up
  FROM job WHERE voided_at IS NULL ORDER BY code""",
    "dives": f"""WITH {_DIVES}
  SELECT {_own("d", "dive", "dives", "job", "dive_ref", "diver", "rig", "bank", "made_up")},
    d.class AS record_class, d.its_water AS water, t.code AS tender, s.code AS supervisor
  FROM live_dive d LEFT JOIN person t ON t.id = d.tender_id LEFT JOIN person s ON s.id = d.supervisor_id
  ORDER BY d.job, d.dive_no""",
    "lines": f"""WITH {_LINES}
  SELECT job || ' ' || code AS line_ref, job, code AS line, section, section_kind, material,
    mean_thickness_mm AS thickness_mm, thickness_basis, planned_length_mm / 1000.0 AS planned_length_m, length_basis,
    closed_space, interlocks, state_noted, made_up
  FROM live_line ORDER BY job, code""",
    "cuts": f"""WITH {_LINES}, {_DIVES}
  SELECT {_own("c", "cut", "cuts")},
    c.id AS cut_id, c.no AS cut_no, d.dive_ref || '.' || c.row AS cut_ref, d.job, d.dive_ref, d.dive_no,
    d.dive_date, d.class AS record_class, d.setting, d.diver, d.crew, d.rig, d.bank, d.depth_msw, d.visibility,
    d.current, d.surge, d.made_up, l.job || ' ' || l.code AS line_ref, l.code AS line, l.section, l.section_kind,
    l.material, l.closed_space, l.planned_length_mm / 1000.0 AS planned_length_m,
    coalesce(c.thickness_mm, l.mean_thickness_mm) AS thickness_mm, r.code AS rod_type,
    coalesce(c.family, r.family) AS family, r.outer_dia_mm AS diameter_mm, c.new_length_mm / 1000.0 AS new_length_m,
    {_typed("c", "new_length_mm", 1)} AS new_length_basis,
    coalesce(c.elapsed_s, strftime('%s', c.stop_at) - strftime('%s', c.start_at)) AS elapsed_s,
    coalesce(w.seconds, 0) AS stoppage_s
  FROM cut c JOIN live_dive d ON d.id = c.dive_id JOIN live_line l ON l.id = c.line_id
  LEFT JOIN rod_type r ON r.id = c.rod_type_id
  LEFT JOIN (SELECT cut_id, sum(seconds) AS seconds FROM happening
    WHERE kind = 'stoppage' AND voided_at IS NULL GROUP BY cut_id) w ON w.cut_id = c.id
  WHERE c.voided_at IS NULL ORDER BY d.job, d.dive_no, c.row""",
    "tallies": f"""
  SELECT {_own("t", "tally", "tallies")},
    t.id AS tally_id, t.no AS tally_no, j.code AS job, j.code || ' ' || d.dive_no AS dive_ref,
    coalesce(t.day, d.dive_date) AS day, r.code AS rod_type, r.family AS family, r.length_mm AS rod_length_mm,
    r.planned_stub_mm, j.made_up
  FROM tally t JOIN job j ON j.id = t.job_id LEFT JOIN dive d ON d.id = t.dive_id
  LEFT JOIN rod_type r ON r.id = t.rod_type_id
  WHERE t.voided_at IS NULL AND j.voided_at IS NULL AND d.voided_at IS NULL
  ORDER BY j.code, coalesce(t.day, d.dive_date), d.dive_no, (SELECT min(c.row) FROM tally_cut tc
    JOIN cut c ON c.id = tc.cut_id WHERE tc.tally_id = t.id AND tc.voided_at IS NULL), t.scope, r.code, t.id""",
    "tally_cuts": f"""WITH {_DIVES}, {_CUTS}
  SELECT v.tally_id, v.cut_id FROM covered v JOIN live_cut c ON c.id = v.cut_id JOIN tally t ON t.id = v.tally_id
  LEFT JOIN dive d ON d.id = t.dive_id WHERE d.voided_at IS NULL
  ORDER BY c.job, c.dive_no, c.row, v.tally_id""",
    "rod_parts": """
  SELECT p.tally_id, p.stub_mm FROM rod_part p JOIN tally t ON t.id = p.tally_id
  JOIN job j ON j.id = t.job_id LEFT JOIN dive d ON d.id = t.dive_id
  WHERE p.voided_at IS NULL AND t.voided_at IS NULL AND j.voided_at IS NULL AND d.voided_at IS NULL
  ORDER BY p.tally_id, p.seq""",
    "readings": f"""
  SELECT {_own("x", "reading", "readings")}, j.code AS job, {_DIVE_REF} AS dive_ref, r.code AS rig, b.code AS bank,
    coalesce(lower({_typed("x", "flowing_kpa", 0)}) LIKE '%psi%', 0) AS flowing_typed_psi, j.made_up
  FROM reading x JOIN job j ON j.id = x.job_id LEFT JOIN dive d ON d.id = x.dive_id
  LEFT JOIN rig r ON r.id = x.rig_id LEFT JOIN bank b ON b.id = x.bank_id
  WHERE x.voided_at IS NULL AND j.voided_at IS NULL AND d.voided_at IS NULL
  ORDER BY j.code, d.dive_no, x.read_at, x.after_rod, x.id""",
    "happenings": f"""
  SELECT {_own("h", "happening", "happenings")}, j.code AS job, {_DIVE_REF} AS dive_ref, r.code AS rig,
    coalesce(date(h.at), d.dive_date) AS happened_on
  FROM happening h JOIN job j ON j.id = h.job_id LEFT JOIN dive d ON d.id = h.dive_id
  LEFT JOIN rig r ON r.id = d.rig_id LEFT JOIN cut c ON c.id = h.cut_id
  WHERE h.voided_at IS NULL AND j.voided_at IS NULL AND d.voided_at IS NULL AND c.voided_at IS NULL
  ORDER BY j.code, d.dive_no, c.row, h.kind, h.word, h.id""",
    "rod_types": """
  SELECT code AS rod_type, family, outer_dia_mm AS diameter_mm, length_mm, planned_stub_mm, stub_source, pack_count
  FROM rod_type WHERE voided_at IS NULL ORDER BY code""",
    "rigs": """
  SELECT code AS rig, power_kind, rated_a, hose_bore_mm, hose_length_m, source
  FROM rig WHERE voided_at IS NULL ORDER BY code""",
    "banks": """
  SELECT code AS bank, cylinders, contents_kg_each, label_pressure_kpa AS label_kpa, label_temp_c,
    contents_route AS route, purity_pct
  FROM bank WHERE voided_at IS NULL ORDER BY code""",
    "sourced_values": """
  SELECT kind, name, value, unit, detail, source FROM sourced_value WHERE voided_at IS NULL
  ORDER BY kind, name, detail""",
    "decisions": """
  SELECT rule, target, decision, why, created_by AS decided_by, substr(created_at, 1, 19) AS decided_at
  FROM flag_decision WHERE voided_at IS NULL ORDER BY no""",
}


def load_frames(log: Log) -> Frames:
    """The whole record, held against the glossary of `burnlog.columns`.

    Parameters
    ----------
    log : Log
        Open, for reading or writing.

    Returns
    -------
    Frames
        Thickness is the cut's own, else its line's (the length-weighted mean of its segments where it has some).
        Elapsed time is as typed, else stop less start. A tally of a dive or a day covers every cut of it with its
        rod type. A family is the rod type's, else the one its cuts agree on. All is read at one moment.

    Raises
    ------
    FileError
        The file is damaged.
    """
    found: dict[str, pd.DataFrame] = {}
    try:
        with log.snapshot():
            for name, query in _QUERIES.items():
                found[name] = _query(log.connection, query, name)
    except UNREADABLE as error:
        raise plain(error, log.path) from error
    if log.made_up:
        for frame in found.values():
            if "made_up" in frame:
                frame["made_up"] = 1
    _add_family(found)
    return Frames(**{name: shaped(frame, name) for name, frame in found.items()}).checked()


def _query(connection: sqlite3.Connection, query: str, name: str) -> pd.DataFrame:
    """The columns of a frame from its query; where two bear one name, the later one stands.

    Values stay as SQLite gives them: of what kind a column is, the glossary says.
    """
    import numpy as np
    import pandas as pd

    cursor = connection.execute(query)
    place = {column[0]: number for number, column in enumerate(cursor.description)}
    values = list(zip(*cursor.fetchall(), strict=True))
    frame = {}
    for column in (known.name for known in GLOSSARY[name] if known.name in place):
        frame[column] = np.empty(len(values[0]) if values else 0, dtype=object)
        if values:
            frame[column][:] = values[place[column]]
    return pd.DataFrame(frame)


def _add_family(found: dict[str, pd.DataFrame]) -> None:
    """A tally without a rod type has the family of its cuts, where they agree."""
    tallies = found["tallies"]
    blank = tallies["family"].isna()
    if not blank.any():
        return
    links = found["tally_cuts"]
    links = links[links["tally_id"].isin(tallies["tally_id"][blank])]
    families = links.merge(found["cuts"][["cut_id", "family"]], on="cut_id").dropna(subset=["family"])
    agreed = families.groupby("tally_id")["family"].agg(["first", "nunique"])
    agreed_family = agreed["first"][agreed["nunique"] == 1]
    # where no cut names a family the mapped column holds no text, and would be another dtype
    of_cuts = tallies["tally_id"].map(agreed_family).astype(tallies["family"].dtype)
    tallies["family"] = tallies["family"].fillna(of_cuts)
