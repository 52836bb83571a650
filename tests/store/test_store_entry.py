"""One row typed as name=value: the same words, ranges and sources as in a file, and no thing made by a slip."""

from __future__ import annotations

from pathlib import Path

import pytest
from paper import new_log

from burnlog.errors import InputError
from burnlog.store.entry import add_row
from burnlog.store.log import Log
from burnlog.store.masters import MASTER_FILES
from burnlog.store.tables import NUMBERED
from burnlog.store.trail import fix


@pytest.fixture
def log(tmp_path: Path) -> Log:
    log = new_log(tmp_path)
    add_row(log, "job", {"job": "PIER7", "water": "salt"})
    add_row(log, "person", {"person": "D3", "roles": "div; instr"})
    add_row(log, "rig", {"rig": "RIG2"})
    return log


def test_R38_roles_are_words_of_their_list(log: Log) -> None:
    """A role by its first letters is the word itself; an unknown one is refused with the nearest, a count too."""
    assert (log.one("person", code="D3") or {})["roles"] == "diver; instructor"
    for text, words in (("divver", "diver"), ("diver x2", "no meaning")):
        with pytest.raises(InputError, match=words):
            add_row(log, "person", {"person": "D4", "roles": text})
    assert log.one("person", code="D4") is None


@pytest.mark.parametrize(("name", "master"), [("diver", "person"), ("rig", "rig"), ("bank", "bank")])
def test_R05_a_code_nobody_knows_is_refused_with_the_way_out(log: Log, name: str, master: str) -> None:
    """A dive that names a person or gear not in the log makes nothing: the nearest are named, and how to add it."""
    typed = {"job": "PIER7", "dive": "14", "dive_date": "2026-05-12", "diver": "D3", name: "D33"}
    with pytest.raises(InputError, match=f"burnlog add {master} {master}=D33") as caught:
        add_row(log, "dive", typed)
    assert "the nearest are" in str(caught.value) or "there is none yet" in str(caught.value)
    assert log.rows("SELECT count(*) AS n FROM dive")[0]["n"] == 0


@pytest.mark.parametrize(
    ("table", "typed", "source"),
    [
        ("rod_type", {"rod_type": "EX", "family": "exothermic", "pack_count": "25"}, "stub_source"),
        ("rod_type", {"rod_type": "EX", "family": "exothermic", "planned_stub": "3 in"}, "stub_source"),
        ("rig", {"rig": "R3", "hose_length": "300 ft"}, "source"),
        ("rig", {"rig": "R3", "hose_loss": "6 psi"}, "hose_loss_source"),
    ],
)
def test_R39_numbers_people_remember_need_their_source(
    log: Log, table: str, typed: dict[str, str], source: str
) -> None:
    """A pack size, a stub or what a hose loses goes in with where it comes from, or not at all."""
    with pytest.raises(InputError, match=f"must say where it comes from: give {source}="):
        add_row(log, table, typed)
    add_row(log, table, {**typed, source: "label on the box"})


def test_what_spans_columns_holds_for_single_rows(log: Log) -> None:
    """A stub of half the rod is refused when a rod type is added and when it is mended."""
    rod = {"rod_type": "EX", "family": "exothermic", "length": "10 in", "stub_source": "house rule"}
    with pytest.raises(InputError, match="half of the rod"):
        add_row(log, "rod_type", {**rod, "planned_stub": "5 in"})
    add_row(log, "rod_type", {**rod, "planned_stub": "3 in"})
    with pytest.raises(InputError, match="half of the rod"):
        fix(log, "rod_type", "EX", {"planned_stub": "5.5 in"}, why="misread", by="JM")


def test_R08_fix_knows_every_column_of_a_master_file(log: Log) -> None:
    """What a master file can say can be mended by the same name, read by the same rule."""
    add_row(log, "bank", {"bank": "B1"})
    add_row(log, "line", {"job": "PIER7", "line": "L14"})
    for table, ref, name, text, column, value in (
        ("rig", "RIG2", "torch", "T7", "torch_ref", "T7"),
        ("rig", "RIG2", "gauge_checked_on", "2026-02-01", "gauge_checked_on", "2026-02-01"),
        ("bank", "B1", "certificate", "C-99", "certificate_ref", "C-99"),
        ("bank", "B1", "purity", "99.6 %", "purity_pct", 99.6),
        ("line", "PIER7 L14", "elevation", "-38 ft", "elevation_m", pytest.approx(-11.5824)),
        ("line", "PIER7 L14", "access", "restricted", "access", "restricted"),
    ):
        done = fix(log, table, ref, {name: text}, why="read again", by="JM")
        assert [(change.field, change.new) for change in done.changes] == [(column, value)]
    known = {
        (spec.table, rule.column)
        for spec in MASTER_FILES.values()
        if spec.table != "sourced_value"
        for name, rule in spec.columns.items()
        if name not in ("made_up", "why", "job")
    }
    held = {(table, field.name) for table in NUMBERED for field in NUMBERED[table].fields}
    assert known <= held
