"""Sheets of odd cells and odd bytes: taken whole, or an error of ours and not one row."""

from __future__ import annotations

import paper
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from paper import counts, cut, new_log, take, write

from burnlog.errors import BurnlogError
from burnlog.store.cutsheet import COLUMNS
from burnlog.store.exchange import import_file

_NAMES = [column.name for column in COLUMNS]


_GOOD = {
    **paper.NEEDED,
    "line": "L1",
    "thickness": "5/8 in",
    "planned_length": "2 ft",
    "new_length": "half",
    "rods": "7 + 6in",
    "rod_type": "EX",
    "start": "0942",
    "stop": "1003",
    "stoppages": "crane 5min",
    "rods_scope": "dive",
    "depth": "45 fsw",
    "position": "flat",
    "issued": "20",
}


_ODD = st.one_of(
    st.sampled_from(
        ["", "-", "?", "na", "0", "-1", "12", "1e9", "~", "9999999999999999999", "yes", "all", "dive", "'=1"]
    ),
    st.sampled_from(
        ["12 mm", "0:45", "2 ft", "45 ft", "; ;", "x2", "2026-13-01", "training", "re-burn", "dry practice"]
    ),
    st.text(max_size=12),
)


@settings(derandomize=True, max_examples=120, deadline=None)
@given(data=st.data())
def test_mangled_sheets_are_taken_whole_or_refused(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    """Whatever stands in the cells: an import of every row, or an error of ours and not one row written."""
    folder = tmp_path_factory.mktemp("mangled")
    rows = []
    for number in range(data.draw(st.integers(1, 4))):
        row = {**_GOOD, "line": f"L{number}", "rods": "" if number else "7 + 6in", "issued": "" if number else "20"}
        for name in data.draw(st.lists(st.sampled_from(_NAMES), max_size=3)):
            row[name] = data.draw(_ODD)
        rows.append(row)
    log = new_log(folder)
    before = counts(log)
    taken = 0
    try:
        taken = take(log, folder, *rows).added.get("cut", 0)
    except BurnlogError:
        assert counts(log) == before
    assert counts(log)["cut"] == taken
    assert taken in (0, len(rows))


@settings(derandomize=True, max_examples=60, deadline=None)
@given(place=st.floats(0, 1), junk=st.binary(min_size=1, max_size=6), cut_off=st.booleans())
def test_mangled_bytes_are_taken_whole_or_refused(
    tmp_path_factory: pytest.TempPathFactory, place: float, junk: bytes, cut_off: bool
) -> None:
    """Bytes put into, or cut out of, a sheet anywhere: rows in the log, or an error of ours and none."""
    folder = tmp_path_factory.mktemp("bytes")
    path = write(
        folder / "s.csv", [cut(line=f"L{n}", dive=str(n), rods="7", remark='6" stub, "hot"') for n in range(1, 9)]
    )
    content = path.read_bytes()
    at = int(place * len(content))
    path.write_bytes(content[:at] + junk + content[at + (40 if cut_off else 0) :])
    log = new_log(folder)
    before = counts(log)
    try:
        import_file(log, path)
    except BurnlogError:
        assert counts(log) == before
