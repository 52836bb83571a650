"""What goes out of the log: CSV that imports to the same content, a JSON bundle, and blank sheets to fill."""

from __future__ import annotations

import csv
import errno
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from paper import counts, cut, new_log, take

from burnlog import vocabulary
from burnlog.errors import BurnlogError, FileError, InputError
from burnlog.physics.oxygen import contents_kg
from burnlog.physics.sections import read_section
from burnlog.store import csvexport
from burnlog.store.blanksheet import sheet_workbook
from burnlog.store.bundle import export_bundle, load_bundle
from burnlog.store.csvexport import export_csv
from burnlog.store.cutsheet import COLUMNS
from burnlog.store.exchange import import_file
from burnlog.store.log import Log
from burnlog.store.typedrows import import_rows

SEED = Path(__file__).parents[2] / "seed_data"
TABLES = (
    "job", "person", "rod_type", "rig", "bank", "line", "dive", "cut", "tally", "tally_cut", "rod_part", "reading",
    "happening", "sourced_value",
)  # fmt: skip


@pytest.fixture
def log(tmp_path: Path) -> Log:
    return new_log(tmp_path)


def content(log: Log) -> dict[str, dict[str, Any]]:
    """Every row by id, without its short number and who typed it when."""
    found = {}
    for table in TABLES:
        rows = log.rows(f"SELECT * FROM {table}")
        for row in rows:
            for name in ("no", "created_at", "created_by"):
                del row[name]
            row["as_typed"] = json.loads(row["as_typed"])
        found[table] = {row["id"]: row for row in rows}
    return found


def _round(log: Log, folder: Path) -> tuple[Log, dict[str, bytes]]:
    """Export to CSV and import into an empty log."""
    folder.mkdir()
    report = export_csv(log, folder / "csv", names=True)
    fresh = new_log(folder, made_up=log.made_up)
    for path in report.files:
        import_file(fresh, path, check_section=read_section, weigh=contents_kg)
    return fresh, {path.name: path.read_bytes() for path in report.files}


FULL = [
    cut(
        water="fresh",
        depth="45 ft",
        bottom_time="0:45",
        crew="NIGHT",
        tender="T1",
        rig="R1",
        bank="B1",
        sheet="S-14",
        water_temp="46 F",
        calls_made="12",
        line="L1",
        section="HP14x117",
        thickness="5/8",
        planned_length="1'6\"",
        new_length="all",
        rod_type="EX",
        family="exothermic",
        rod_length="18 in",
        rods="7 + 6in,9in",
        lot="A7",
        issued="40",
        returned="6",
        start="2350",
        stop="0010",
        burn_time="0:45",
        stoppages="crane 5min; power ~2 min",
        defects="clogged kerf; rod stuck x2",
        events="pop or bang 0001",
        technique="hurried start; contact lost",
        set_amps="200",
        regulator_static="7.6 bar",
        regulator_flowing="90 psi",
        hangers="~1",
        restarts="?",
        hangers_at="at a rod change",
        remark='=HYPERLINK("x"), "quoted"\nsecond line',
    ),
    cut(line="L2", rods="6.5", rod_type="EX", thickness="12,5 mm", new_length="~2 ft", start="0020", outcome="part"),
    cut(line="L2", pass_="re-burn", rods="", rod_type="EX", elapsed="21 min", fouling="other: tar"),
    cut(
        dive="15",
        line="L3",
        rods="9+",
        rods_scope="dive",
        rod_type="TB",
        issued="20",
        new_length="half",
        planned_length="3 ft",
    ),
    cut(
        dive="15", line="L4", rod_type="TB", new_length="2 ft+", remark="'=held", bank_start="2200 psi", bank_end="na"
    ),
    cut(dive="16", record_class="training", setting="dry practice", remark="@home -1 +2"),
]


def test_R19_rounds_of_export_and_import_change_nothing(log: Log, tmp_path: Path) -> None:
    """A round gives the same content, typed text included, and a second the same bytes: so every further one."""
    take(log, tmp_path, *FULL)
    reading = {"job": "PIER7", "dive": "14", "read_at": "0005", "flowing": "90 psi", "rig": "R1", "reason": "spot"}
    take(log, tmp_path, reading, name="readings.csv")
    take(log, tmp_path, {"person": "D3", "name": "-= Ann", "roles": "diver; tender"}, name="persons.csv")
    before = content(log)
    first, one = _round(log, tmp_path / "1")
    assert content(first) == before
    second, two = _round(first, tmp_path / "2")
    third, three = _round(second, tmp_path / "3")
    assert one == two == three
    assert content(third) == before
    sheet = one["cut_sheet.csv"].decode()
    assert ",5/8," in sheet


def test_R19_the_invented_contractor_survives_a_round(tmp_path: Path) -> None:
    """All of the scenario's files, imported, exported and imported again, are the same content, still made up."""
    log = new_log(tmp_path, made_up=True)
    names = [
        "rod_types",
        "persons",
        "rigs",
        "banks",
        "cuts_2023",
        "cuts_2024",
        "class",
        "practice",
        "rules",
        "prices",
    ]
    for name in names:
        import_file(log, SEED / f"{name}.csv")
    fresh, files = _round(log, tmp_path / "1")
    assert content(fresh) == content(log)
    assert counts(fresh)["cut"] > 500
    rows = list(csv.DictReader(files["cut_sheet.csv"].decode().splitlines()))
    assert all(row["made_up"] == "yes" for row in rows)
    real = new_log(tmp_path, "real.db")
    with pytest.raises(InputError, match="made up"):
        import_file(real, tmp_path / "1" / "csv" / "cut_sheet.csv")


def test_R19_values_that_were_never_typed_read_back_exactly(log: Log, tmp_path: Path) -> None:
    """A value changed after it was typed, or written by another program, comes out as text that says exactly it."""
    take(log, tmp_path, *FULL)
    odd = {
        "thickness_mm": 1 / 0.3,
        "new_length_mm": 100 / 3,
        "bank_start_kpa": 15168.4659876,
        "burn_s": 45.6789012345678,
    }
    with log.transaction(why="gauged again"):
        log.connection.execute(
            "UPDATE cut SET thickness_mm = :thickness_mm, new_length_mm = :new_length_mm, "
            "bank_start_kpa = :bank_start_kpa, burn_s = :burn_s WHERE row = 2",
            odd,
        )
        log.connection.execute("UPDATE cut SET new_length_mm = 100, start_at = '2026-05-12T23:51:07' WHERE row = 1")
    fresh, _ = _round(log, tmp_path / "1")
    rows = {row["id"]: row for row in fresh.rows("SELECT * FROM cut")}
    for row in log.rows("SELECT * FROM cut"):
        for name in (*odd, "start_at", "stop_at"):
            assert rows[row["id"]][name] == row[name], name


def test_exported_cells_are_harmless(log: Log, tmp_path: Path) -> None:
    """No cell of an export begins as a formula does, and each reads back as it was."""
    texts = ["=1+1", "+1", "-1", "@x", "''=kept", "plain"]
    take(log, tmp_path, *[cut(line=f"L{n}", remark=text) for n, text in enumerate(texts)])
    _, files = _round(log, tmp_path / "1")
    for text in files.values():
        for row in csv.reader(text.decode().splitlines()):
            assert not any(cell[:1] in tuple("=+-@\t\r") and cell for cell in row)
    fresh = new_log(tmp_path, "again.db")
    import_file(fresh, tmp_path / "1" / "csv" / "cut_sheet.csv")
    remarks = [row["remark"] for row in fresh.rows("SELECT remark FROM cut ORDER BY row")]
    assert remarks == ["=1+1", "+1", "-1", "@x", "'=kept", "plain"]


def test_names_stay_out_unless_asked(log: Log, tmp_path: Path) -> None:
    """Names of persons are in no export that did not ask for them."""
    take(log, tmp_path, cut())
    take(log, tmp_path, {"person": "D3", "name": "Ann Other"}, name="p.csv")
    export_csv(log, tmp_path / "csv")
    export_bundle(log, tmp_path / "b.json")
    for path in (*(tmp_path / "csv").iterdir(), tmp_path / "b.json"):
        assert b"Ann" not in path.read_bytes()
    assert not load_bundle(tmp_path / "b.json").names
    assert "display_name" not in load_bundle(tmp_path / "b.json").tables["person"][0]
    export_csv(log, tmp_path / "named", names=True)
    export_bundle(log, tmp_path / "named.json", names=True)
    assert b"Ann Other" in (tmp_path / "named" / "persons.csv").read_bytes()
    assert load_bundle(tmp_path / "named.json").tables["person"][0]["display_name"] == "Ann Other"


def test_what_csv_cannot_say_is_counted(log: Log, tmp_path: Path) -> None:
    """Day counts, dives without a cut, voided rows and the trail are in the bundle only, and the report says so."""
    take(log, tmp_path, cut(line="L1"), cut(line="L2"))
    with log.transaction(why="never happened"):
        job = log.rows("SELECT id FROM job")[0]["id"]
        person = log.rows("SELECT id FROM person")[0]["id"]
        log.insert("tally", {"job_id": job, "day": "2026-05-12", "scope": "day", "rods": 9, "rods_basis": "measured"})
        log.insert("dive", {"job_id": job, "dive_no": 99, "dive_date": "2026-05-13", "diver_id": person})
        log.connection.execute("UPDATE cut SET voided_at = '2026-05-13' WHERE row = 2")
    report = export_csv(log, tmp_path / "csv")
    assert report.left_out["dives without a cut"] == 1
    assert report.left_out["counts of several cuts or of a day, or of rods no cut names"] == 1
    assert report.left_out["voided cuts"] == 1
    assert report.left_out["amendments"] == 1
    bundle = load_bundle(_bundle(log, tmp_path))
    assert len(bundle.tables["dive"]) == 2
    assert len(bundle.amendments) == 1


def _bundle(log: Log, folder: Path, name: str = "bundle.json") -> Path:
    export_bundle(log, folder / name, names=True)
    return folder / name


def test_R13_a_bundle_holds_every_row_and_reads_back(log: Log, tmp_path: Path) -> None:
    """Every table, id, typed text and amendment is in the bundle, and comes back as the log holds it."""
    take(log, tmp_path, *FULL)
    with log.transaction(why="box counted twice", by="JM"):
        log.connection.execute("UPDATE tally SET rods = 8 WHERE rods = 7")
    path = _bundle(log, tmp_path)
    bundle = load_bundle(path)
    assert (bundle.db_id, bundle.made_up) == (log.db_id, False)
    for table, rows in bundle.tables.items():
        assert list(rows) == log.rows(f"SELECT * FROM {table} ORDER BY id")
    assert list(bundle.amendments) == log.rows(
        'SELECT id, table_name, row_id, field, old, new, why, "by", "at" FROM amendment ORDER BY no'
    )
    found = json.loads(path.read_text())
    (thick,) = [row for row in found["tables"]["cut"] if row["thickness_mm"] == 15.875]
    assert thick["as_typed"]["thickness_mm"][0] == "5/8"


def test_R72_the_mark_survives_a_bundle(tmp_path: Path) -> None:
    """A bundle of an invented log says so."""
    assert load_bundle(_bundle(new_log(tmp_path, made_up=True), tmp_path)).made_up


def test_nothing_is_overwritten(log: Log, tmp_path: Path) -> None:
    """An export goes to a new file or an empty folder, or not at all."""
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "mine.txt").write_text("mine")
    (tmp_path / "b.json").write_text("mine")
    (tmp_path / "s.xlsx").write_text("mine")
    for call in (
        lambda: export_csv(log, tmp_path / "full"),
        lambda: export_bundle(log, tmp_path / "b.json"),
        lambda: sheet_workbook(tmp_path / "s.xlsx"),
        lambda: export_bundle(log, tmp_path / "no" / "b.json"),
        lambda: sheet_workbook(tmp_path / "no" / "s.xlsx"),
        lambda: export_csv(log, tmp_path / "b.json"),
    ):
        with pytest.raises(FileError):
            call()
    assert (tmp_path / "b.json").read_text() == (tmp_path / "s.xlsx").read_text() == "mine"
    assert [path.name for path in (tmp_path / "full").iterdir()] == ["mine.txt"]


def test_an_export_that_fails_leaves_no_file(log: Log, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A disk that fills up at the last file takes the first ones with it: half a record looks like a whole one."""

    def full(*_: object) -> Iterator[dict[str, str]]:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(csvexport, "_price", full)
    take(log, tmp_path, {"what": "rod", "price": "9.50", "currency": "USD"}, name="prices.csv")
    with pytest.raises(FileError, match="No space left on device"):
        export_csv(log, tmp_path / "out")
    assert list((tmp_path / "out").iterdir()) == []


def test_an_export_is_of_one_moment(log: Log, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What somebody else types between two of its files is in none of them."""
    take(log, tmp_path, cut(line="L1", new_length="2 ft"))
    write_one = csvexport._write

    def meanwhile(path: Path, *rest: Any) -> int:
        if path.name == "cut_sheet.csv":
            with Log.open(log.path, by="other", now=log.now) as other:
                take(other, tmp_path, cut(job="LATER", line="L1"), name="later.csv")
        return write_one(path, *rest)

    monkeypatch.setattr(csvexport, "_write", meanwhile)
    report = export_csv(log, tmp_path / "out")
    assert log.one("job", code="LATER") is not None
    assert not any("LATER" in path.read_text(encoding="utf-8") for path in report.files)


@pytest.mark.parametrize(
    ("change", "error", "words"),
    [
        (lambda b: b.update(format="x"), InputError, "not a bundle of burnlog"),
        (lambda b: b.update(schema=99), FileError, "newer burnlog"),
        (lambda b: b.pop("tables"), InputError, "'tables' is missing"),
        (lambda b: b.update(made_up="no"), InputError, "'made_up'"),
        (lambda b: b["tables"].update(evil=[]), InputError, "no table 'evil'"),
        (lambda b: b["tables"]["cut"].append({"no": 1}), InputError, "no row with an id"),
        (lambda b: b["tables"]["cut"].append({"id": "x", "sneaky": 1}), InputError, "no column 'sneaky'"),
        (lambda b: b["tables"]["cut"].append({"id": "x", "remark": ["a"]}), InputError, "no value a log can hold"),
        (lambda b: b["tables"]["cut"].append({"id": "x", "remark": "a\0b"}), InputError, "no value a log can hold"),
        (lambda b: b["tables"]["cut"].append({"id": "x", "row": 2**70}), InputError, "no value a log can hold"),
        (lambda b: b["amendments"].append({"id": "x", "old": True}), InputError, "no value a log can hold"),
    ],
)
def test_bundles_changed_by_hand_are_refused(log: Log, tmp_path: Path, change: Any, error: Any, words: str) -> None:
    """A bundle with a strange table, column or value, or of a newer program, is refused in plain words."""
    found = json.loads(_bundle(log, tmp_path).read_text())
    change(found)
    (tmp_path / "changed.json").write_text(json.dumps(found))
    with pytest.raises(error, match=words):
        load_bundle(tmp_path / "changed.json")


@settings(derandomize=True, max_examples=60, deadline=None)
@given(place=st.floats(0, 1), junk=st.binary(max_size=5), lost=st.integers(0, 40))
def test_mangled_bundles_are_read_or_refused(
    tmp_path_factory: pytest.TempPathFactory, place: float, junk: bytes, lost: int
) -> None:
    """Bytes lost from a bundle, or put into it, anywhere: a bundle still, or an error of ours."""
    folder = tmp_path_factory.mktemp("bundle")
    log = new_log(folder)
    take(log, folder, cut(line="L1", thickness="5/8"))
    path = _bundle(log, folder)
    text = path.read_bytes()
    at = int(place * len(text))
    path.write_bytes(text[:at] + junk + text[at + lost :])
    said = path.name
    try:
        load_bundle(path)
    except BurnlogError as error:
        said = str(error)
    assert path.name in said


def test_deeply_nested_json_is_refused(tmp_path: Path) -> None:
    """Brackets without end are no bundle."""
    path = tmp_path / "deep.json"
    path.write_text("[" * 200_000)
    with pytest.raises(InputError, match="not a bundle"):
        load_bundle(path)


def test_a_blank_workbook_comes_back_filled(log: Log, tmp_path: Path) -> None:
    """The workbook has the sheet's columns, text cells, a frozen header, notes and lists, and imports when filled."""
    path = sheet_workbook(
        tmp_path / "blank.xlsx",
        rows=20,
        job="PIER7",
        first=[{"dive": "14", "sheet": "S-1"}],
        headers={"thickness": "mm"},
    )
    book = openpyxl.load_workbook(path)
    sheet = book["cut sheet"]
    titles = [cell.value for cell in sheet[1]]
    assert titles == [
        "thickness [mm]" if column.name == "thickness" else column.name for column in COLUMNS if column.name != "why"
    ]
    assert sheet.freeze_panes == "D2"
    assert sheet["Z9"].number_format == "@"
    assert "Needed" in sheet["A1"].comment.text
    place = {name: number for number, name in enumerate(titles, start=1)}
    for number, row in enumerate(
        ({"line": "L1", "thickness [mm]": "12"}, {"job": "PIER7", "dive": 14, "position": "flat"}), 2
    ):
        for name, text in row.items():
            sheet.cell(number, place[name], text)
    sheet.cell(2, place["dive_date"], "2026-05-12")
    sheet.cell(2, place["diver"], "D3")
    sheet.cell(2, place["start"], "0942")
    book.save(path)
    report = import_file(log, path)
    assert report.added["cut"] == 2
    assert report.notes[0].startswith("Of 2 rod counts")
    assert log.rows("SELECT thickness_mm, start_at FROM cut WHERE row = 1") == [
        {"thickness_mm": 12, "start_at": "2026-05-12T09:42:00"}
    ]


def test_drop_down_lists_hold_the_vocabulary(tmp_path: Path) -> None:
    """Each list of the workbook offers exactly the words that import takes."""
    book = openpyxl.load_workbook(sheet_workbook(tmp_path / "blank.xlsx", rows=5))
    sheet, words = book["cut sheet"], book["words"]
    assert words.sheet_state == "hidden"
    listed = {}
    for column in words.iter_cols(values_only=True):
        listed[column[0]] = [word for word in column[1:] if word is not None]
    for column in COLUMNS:
        if column.rule.kind.startswith("word:") and column.name != "rods_scope":
            assert listed[column.name] == list(vocabulary.words(column.rule.kind[5:]))
    assert len(sheet.data_validations.dataValidation) == len(listed)
    assert listed["rods_scope"] == ["cut", "dive"]


@pytest.mark.parametrize(
    "options",
    [
        {"rows": 0},
        {"rows": 5001},
        {"first": [{"depht": "1"}]},
        {"headers": {"edge": "mm"}},
        {"headers": {"depth": "psi"}},
    ],
)
def test_workbooks_that_cannot_be(tmp_path: Path, options: dict[str, Any]) -> None:
    """Too many rows, an unknown column or a unit that is none is refused, and no file is made."""
    with pytest.raises(InputError):
        sheet_workbook(tmp_path / "s.xlsx", **options)
    with pytest.raises(InputError):
        sheet_workbook(tmp_path / "s.csv")
    assert list(tmp_path.iterdir()) == []


def test_R37_rows_typed_one_by_one(log: Log, tmp_path: Path) -> None:
    """A typed row follows the rules of a file; typed again it is refused and the cut that is there is shown."""
    row = cut(line="L1", row="1", start="0942", stop="1003", rods="7")
    assert import_rows(log, [row]).added["cut"] == 1
    with pytest.raises(InputError, match=r"row 1, column row: row 1 is in the log already as cut 1") as caught:
        import_rows(log, [row])
    assert caught.value.exit_code == 2
    second = {**row, "row": "2"}
    with pytest.raises(InputError, match="typed twice"):
        import_rows(log, [second])
    import_rows(log, [second], twice_why="cut on after the call")
    assert log.rows("SELECT twice_why FROM cut WHERE row = 2") == [{"twice_why": "cut on after the call"}]
    assert counts(log)["import_batch"] == 0
    with pytest.raises(InputError, match="has no unit"):
        import_rows(log, [{**row, "row": "3", "thickness": "12"}])
    invented = new_log(tmp_path, "invented.db", made_up=True)
    assert import_rows(invented, [row]).added["cut"] == 1
