"""Readings, masters, and what the user brings with a source: files told apart by their headers."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path

import pytest
from paper import counts, cut, new_log, take

from burnlog.errors import ConflictError, InputError, RowErrors
from burnlog.physics.oxygen import contents_kg
from burnlog.physics.sections import read_section
from burnlog.store.log import Log

SCF_KG = 0.037552  # 1 scf of oxygen at 70 F and 1 atm, computed from the molar volume there


@pytest.fixture
def log(tmp_path: Path) -> Log:
    return new_log(tmp_path)


def _refused(log: Log, folder: Path, *rows: Mapping[str, str], **options: object) -> str:
    before = counts(log)
    with pytest.raises(RowErrors) as caught:
        take(log, folder, *rows, **options)
    assert counts(log) == before
    return str(caught.value)


ROD = {
    "rod_type": "EX38",
    "family": "exothermic",
    "diameter": "3/8 in",
    "length": "18 in",
    "planned_stub": "3 in",
    "stub_source": "house rule 2024",
    "pack_count": "25",
}
RIG = {"rig": "R1", "power_kind": "battery", "rated_amps": "400 A", "hose_bore": "3/8 in", "hose_length": "200 ft"}


def test_R39_rod_types_bring_a_source_for_their_stub(log: Log, tmp_path: Path) -> None:
    """A stub or pack size without a source is refused; with one it fills the blanks of a type a sheet made."""
    take(log, tmp_path, cut(rod_type="EX38", family="exothermic", rods="7 + 6in"))
    for blank in ("", "-", "?"):
        assert "planned_stub and pack_count must say where it comes from" in _refused(
            log, tmp_path, {**ROD, "stub_source": blank}
        )
    report = take(log, tmp_path, ROD, name="rods.csv")
    assert (report.kind, report.filled) == ("rod types", 5)
    row = log.one("rod_type", code="EX38")
    assert row is not None
    assert (row["planned_stub_mm"], row["pack_count"], row["length_mm"]) == (
        pytest.approx(76.2),
        25,
        pytest.approx(457.2),
    )
    short = {**ROD, "rod_type": "B", "length": "8 in", "planned_stub": "5 in"}
    assert "half of the rod" in _refused(log, tmp_path, short)
    take(log, tmp_path, {"rod_type": "B", "length": "8 in"}, name="b.csv")
    assert "half of the rod" in _refused(log, tmp_path, {k: v for k, v in short.items() if k != "length"})


def test_masters_in_the_log_are_not_contradicted(log: Log, tmp_path: Path) -> None:
    """A master file that says otherwise is shown with both values; the same again is skipped."""
    take(log, tmp_path, ROD)
    assert take(log, tmp_path, ROD, {**ROD, "rod_type": "EX14"}, name="b.csv").skipped == 1
    with pytest.raises(ConflictError, match=r"the log has 76.2 mm.*correct the file") as caught:
        take(log, tmp_path, {**ROD, "planned_stub": "4 in"})
    assert caught.value.exit_code == 4


def test_persons_keep_names_out_of_the_trail(log: Log, tmp_path: Path) -> None:
    """Names are optional, roles are words, and a filled name leaves no text in the trail or in `as_typed`."""
    take(log, tmp_path, cut())
    assert "'driver'" in _refused(log, tmp_path, {"person": "D3", "name": "", "roles": "driver"})
    take(
        log,
        tmp_path,
        {"person": "D3", "name": "Ann Other", "roles": "diver; tender"},
        {"person": "T9", "roles": "tender"},
    )
    row = log.one("person", code="D3")
    assert row is not None
    assert (row["display_name"], row["roles"], row["active"]) == ("Ann Other", "diver; tender", 1)
    assert "Other" not in row["as_typed"]
    assert "Ann" not in str(log.rows("SELECT old, new FROM amendment"))
    with pytest.raises(ConflictError) as caught:
        take(log, tmp_path, {"person": "D3", "name": "Else Wise"}, name="c.csv")
    assert "Ann" not in str(caught.value)


def test_R39_rigs_with_numbers_bring_a_source(log: Log, tmp_path: Path) -> None:
    """A rig's numbers need a source; hose lengths are kept in metres."""
    assert "rated_amps and hose_bore and hose_length must say" in _refused(log, tmp_path, {**RIG, "source": ""})
    take(log, tmp_path, {**RIG, "source": "plate on the set"}, {"rig": "R2"})
    row = log.one("rig", code="R1")
    assert row is not None
    assert (row["hose_length_m"], row["rated_a"]) == (pytest.approx(60.96), 400)


def test_banks_by_mass_and_by_volume(log: Log, tmp_path: Path) -> None:
    """Contents are kg as typed, or a volume weighed by whoever knows oxygen; without one that is asked for in kg."""
    bank = {
        "bank": "B1",
        "cylinders": "12",
        "contents_each": "244 cf",
        "label_pressure": "2200 psi",
        "label_temp": "70 F",
    }
    assert "9.2 kg" in _refused(log, tmp_path, bank)
    water = {
        "bank": "B2",
        "cylinders": "9",
        "contents_each": "50 L",
        "label_pressure": "200 bar",
        "label_temp": "15 C",
    }
    take(log, tmp_path, bank, water, {"bank": "B3", "contents_each": "9.163 kg"}, weigh=contents_kg)
    rows = {row["code"]: row for row in log.rows("SELECT * FROM bank")}
    assert rows["B1"]["contents_kg_each"] == pytest.approx(244 * SCF_KG, rel=1e-3)
    assert rows["B1"]["contents_route"] == "label volume"
    assert rows["B2"]["contents_kg_each"] == pytest.approx(14.414, rel=2e-3)  # 50 L at 200 bar and 15 C, real gas
    assert json.loads(rows["B2"]["as_typed"])["contents_kg_each"] == ["50 L", "computed"]
    assert rows["B3"]["contents_kg_each"] == 9.163
    wrong = {**bank, "bank": "B4", "route": "weighed"}
    assert "correct one of them" in _refused(log, tmp_path, wrong, weigh=contents_kg)
    assert "outside 0.5 to 40 kg" in _refused(log, tmp_path, {"bank": "B5", "contents_each": "400 kg"})


HP = {"designation": "HP14x117", "kind": "h section", "d": "14.21in", "b": "14.885in", "tw": ".805in", "tf": ".805in"}


def test_R26_one_blank_source_refuses_the_whole_list(log: Log, tmp_path: Path) -> None:
    """A section list with one blank source adds nothing, and every bad row is named."""
    rows = [
        {**HP, "source": "table A"},
        {**HP, "designation": "HP2", "source": ""},
        {**HP, "designation": "HP3", "source": " "},
    ]
    message = _refused(log, tmp_path, *rows, check_section=read_section)
    assert "row 3, column source" in message
    assert "row 4, column source" in message


def test_R26_impossible_dimensions_are_refused(log: Log, tmp_path: Path) -> None:
    """A dimension that cannot be is refused by whoever knows sections; a good list is kept in mm with its source."""
    bad = {**HP, "tf": "8 in", "source": "table A"}
    message = _refused(log, tmp_path, bad, {**HP, "d": "", "source": "t"}, check_section=read_section)
    assert "row 2" in message
    assert "row 3" in message
    take(log, tmp_path, {**HP, "source": "table A"}, check_section=read_section)
    (row,) = log.rows("SELECT * FROM sourced_value")
    assert (row["kind"], row["name"], row["source"]) == ("section", "HP14x117", "table A")
    detail = json.loads(row["detail"])
    assert detail["kind"] == "h section"
    assert detail["dims"]["d"] == pytest.approx(14.21 * 25.4)
    with pytest.raises(ConflictError):
        take(log, tmp_path, {**HP, "d": "14.3in", "source": "table B"}, check_section=read_section)


def test_sections_in_a_header_unit(log: Log, tmp_path: Path) -> None:
    """Dimensions may be bare numbers under a header with a unit, and are read without a check as well."""
    row = {"designation": "P1", "kind": "pipe", "od [mm]": "610", "wall [mm]": "12.5", "source": "drawing 3"}
    for checked in (read_section, None):
        own = new_log(tmp_path, f"{checked is None}.db")
        take(own, tmp_path, row, check_section=checked)
        assert json.loads(own.rows("SELECT detail FROM sourced_value")[0]["detail"])["dims"] == {
            "od": 610,
            "wall": 12.5,
        }


def test_R39_rules_of_thumb_in_one_unit(log: Log, tmp_path: Path) -> None:
    """A rule needs a source; rods per length and length per rod come out as rods per metre."""
    rule = {"rule": "office", "value": "1.4", "per": "ft", "thickness_from": "3/8 in", "thickness_to": "5/8 in"}
    assert "column source" in _refused(log, tmp_path, {**rule, "source": ""})
    assert "not one value" in _refused(log, tmp_path, {**rule, "value": "8, 9 or 10 in", "source": "x"})
    assert "thickness_from is more" in _refused(log, tmp_path, {**rule, "thickness_from": "1 in", "source": "x"})
    take(
        log,
        tmp_path,
        {**rule, "family": "exothermic", "source": "the boss"},
        {"rule": "per rod", "value": "9 in", "per": "rod", "source": "a page"},
        {"rule": "slow", "value": "3 min", "per": "ft", "source": "a page"},
    )
    rows = {row["name"]: row for row in log.rows("SELECT * FROM sourced_value")}
    assert (rows["office"]["value"], rows["office"]["unit"]) == (pytest.approx(1.4 / 0.3048), "rods/m")
    assert json.loads(rows["office"]["detail"]) == {
        "family": "exothermic",
        "thickness_from_mm": 9.525,
        "thickness_to_mm": 15.875,
    }
    assert rows["per rod"]["value"] == pytest.approx(1 / 0.2286)
    assert (rows["slow"]["value"], rows["slow"]["unit"]) == (pytest.approx(180 / 0.3048), "s/m")


def test_prices(log: Log, tmp_path: Path) -> None:
    """A price keeps its currency and what it is per; the file stands for its source."""
    take(log, tmp_path, {"what": "rods", "price": "7.50", "currency": "USD", "per": "rod"}, name="prices.csv")
    (row,) = log.rows("SELECT * FROM sourced_value")
    assert (row["value"], row["unit"], row["source"]) == (7.5, "USD/rod", "typed in prices.csv")
    assert "column price" in _refused(log, tmp_path, {"what": "x", "price": "cheap", "currency": "USD"})


def test_jobs_and_lines(log: Log, tmp_path: Path) -> None:
    """Jobs and lines have files of their own: a line may be planned before it is cut."""
    take(log, tmp_path, {"job": "PIER7", "title": "Pier 7", "purpose": "pile cut-off", "water": "salt"})
    take(
        log,
        tmp_path,
        {"job": "PIER7", "line": "L1", "planned_length": "2 m", "thickness": "20 mm", "interlocks": "3"},
    )
    assert log.rows("SELECT planned_length_mm, interlocks FROM line") == [
        {"planned_length_mm": 2000, "interlocks": 3}
    ]
    assert "no job 'PIER8' in the log; the nearest are PIER7" in _refused(
        log, tmp_path, {"job": "PIER8", "line": "L1", "planned_length": "1 m"}
    )
    ends = {"job": "B", "title": "b", "start_date": "2026-05-02", "end_date": "2026-05-01"}
    assert "before it starts" in _refused(log, tmp_path, ends)


def _reading(**cells: str) -> dict[str, str]:
    return {"job": "PIER7", "dive": "14", "rig": "R1", "bank": "B1", **cells}


def test_readings_lie_on_the_clock_of_their_dive(log: Log, tmp_path: Path) -> None:
    """A clock is of the dive's date, or of the night after it; without a dive the date is asked for."""
    take(log, tmp_path, cut(start="2330", stop="2350"), name="cuts.csv")
    take(
        log,
        tmp_path,
        _reading(read_at="2325", static="110 psi", reason="start"),
        _reading(read_at="2340", flowing="90 psi", after_rod="3"),
        _reading(read_at="0005", flowing="88 psi", after_rod="9"),
        {"job": "PIER7", "read_at": "2026-05-14 0700", "bank_pressure": "2000 psi", "bank": "B1"},
    )
    rows = log.rows("SELECT read_at, dive_id, flowing_kpa, as_typed FROM reading ORDER BY no")
    assert [row["read_at"] for row in rows] == [
        "2026-05-12T23:25:00",
        "2026-05-12T23:40:00",
        "2026-05-13T00:05:00",
        "2026-05-14T07:00:00",
    ]
    assert rows[3]["dive_id"] is None
    assert json.loads(rows[1]["as_typed"])["flowing_kpa"] == ["90 psi", "measured"]
    assert "of which day?" in _refused(
        log, tmp_path, {"job": "PIER7", "dive": "", "read_at": "0700", "static": "9 bar"}
    )


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ({}, "write at least one"),
        ({"static": "90 psi", "flowing": "96 psi"}, "stands more than 5 % above"),
        ({"static": "90"}, "no unit"),
        ({"static": "90 psi", "dive": "99"}, "dive 99 of PIER7 is not in the log"),
        ({"static": "90 psi", "job": "PIER8"}, "nearest are PIER7"),
        ({"static": "90 psi", "read_at": "2560"}, "column read_at"),
        ({"static": "90 psi", "read_at": "2026-02-31 0900"}, "not a date"),
        ({"static": "90 psi", "temperature": "70 C"}, "outside"),
        ({"static": "90 psi", "reason": "because"}, "nearest"),
    ],
)
def test_bad_readings_are_refused(log: Log, tmp_path: Path, cells: dict[str, str], words: str) -> None:
    """A reading without a pressure, a place or a sense is refused by its cell."""
    take(log, tmp_path, cut(), name="cuts.csv")
    row = _reading(read_at="0900", reason="", temperature="", static="", flowing="", bank_pressure="")
    assert words in _refused(log, tmp_path, {**row, **cells})


def test_readings_twice_and_otherwise(log: Log, tmp_path: Path) -> None:
    """The same reading is skipped, another value for its moment is a conflict, a change-over has both pressures."""
    take(log, tmp_path, cut(start="0900"), name="cuts.csv")
    rows = [
        _reading(read_at="0910", bank_pressure="300 psi", reason="change-over", gauge="G1"),
        _reading(read_at="0910", bank_pressure="2200 psi", reason="change-over", gauge="G1"),
        _reading(read_at="0912", flowing="90 psi", reason="spot", gauge="G1"),
        _reading(flowing="90 psi"),
        _reading(flowing="90 psi"),
    ]
    assert take(log, tmp_path, *rows).added["reading"] == 5
    again = take(log, tmp_path, *rows, _reading(read_at="0930", flowing="80 psi"), name="more.csv")
    assert (again.skipped, again.added["reading"]) == (5, 1)
    with pytest.raises(ConflictError, match="flowing: the log has"):
        take(log, tmp_path, {**rows[2], "flowing": "70 psi"}, name="other.csv")


def test_readings_keep_good(log: Log, tmp_path: Path) -> None:
    """Good readings go in and the others to a file that says why."""
    take(log, tmp_path, cut(), name="cuts.csv")
    rest = tmp_path / "rest.csv"
    report = take(
        log,
        tmp_path,
        _reading(read_at="0900", static="90"),
        _reading(read_at="0901", static="90 psi"),
        keep_good=rest,
    )
    assert (report.held, report.added["reading"]) == (1, 1)
    assert "no unit" in rest.read_text()


def test_an_error_of_the_section_check_is_not_swallowed(log: Log, tmp_path: Path) -> None:
    """Only refusals become row problems; a fault in the check itself comes through."""

    def faulty(*_: object) -> object:
        raise ZeroDivisionError

    def refusing(*_: object) -> object:
        raise InputError("no such pile")

    with pytest.raises(ZeroDivisionError):
        take(log, tmp_path, {**HP, "source": "t"}, check_section=faulty)
    assert "no such pile" in _refused(log, tmp_path, {**HP, "source": "t"}, check_section=refusing)
