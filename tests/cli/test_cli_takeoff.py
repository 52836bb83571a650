"""The blank take-off file, and what a filled one is read as."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from terminal import run

from burnlog import vocabulary


def test_R56_a_blank_take_off_names_its_columns(season: Path, tmp_path: Path) -> None:
    """`--blank` writes a file with the columns and explains them; an existing file is left alone."""
    path = tmp_path / "blank.csv"
    done = run(season, "estimate", "draft", "--blank", str(path))
    assert done.returncode == 0
    assert path.read_text(encoding="utf-8").startswith("item,quantity,section")
    assert run(season, "estimate", "draft", "--blank", str(path)).returncode == 5


def test_R56_a_blank_workbook_has_lists_and_reads_back(season: Path, tmp_path: Path) -> None:
    """Words and rod types of the log drop down; filled in, the three items give 84.7, 37.7 and 122.6 ft."""
    openpyxl = pytest.importorskip("openpyxl")
    path = tmp_path / "blank.xlsx"
    done = run(season, "estimate", "draft", "--blank", str(path))
    assert done.returncode == 0, done.stderr
    assert max(map(len, done.stdout.splitlines()[1:])) <= 80
    book = openpyxl.load_workbook(path)
    sheet = book["take-off"]
    heads = {cell.value: cell.column for cell in sheet[1]}
    listed = {}
    for check in sheet.data_validations.dataValidation:
        column = openpyxl.utils.range_boundaries(str(check.sqref))[0]
        cells = book["words"][check.formula1.replace("$", "").partition("!")[2]]
        listed[next(name for name, at in heads.items() if at == column)] = [row[0].value for row in cells]
    assert listed["visibility"] == list(vocabulary.words("visibility"))
    assert listed["rod_type"] == ["EX14", "EX38", "TB516"]
    assert set(listed) == {
        *("section", "position", "visibility", "current", "fouling", "backing", "family", "setting", "rod_type")
    }
    items = (
        {"item": "piles", "quantity": 24, "section": "HP14x117"},
        {"item": "pipes", "quantity": "6", "section": "pipe", "dims": "od=24in wall=.375in"},
        {"item": "wall", "quantity": "40", "section": "z sheet",
         "dims": "w=700mm h=460mm tf=12.2mm tw=12.2mm slope=55.2deg"},
    )  # fmt: skip
    for number, row in enumerate(items, start=2):
        for name, text in {**row, "rod_type": "EX38"}.items():
            sheet.cell(number, heads[name], text)
    book.save(tmp_path / "full.xlsx")
    found = json.loads(run(season, "estimate", "draft", str(tmp_path / "full.xlsx"), "--json").stdout)
    assert [round(item["length_m"] / 0.3048, 1) for item in found["items"]] == [84.7, 37.7, 122.6]
    assert found["items"][2]["interlocks"] == 39


def test_R56_every_bad_cell_of_a_workbook_is_named_by_its_address(season: Path, tmp_path: Path) -> None:
    """Three bad cells of a workbook are named with their addresses in one message, and nothing is estimated."""
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    for row in (
        ("item", "quantity", "section", "thickness", "length_each", "visibility", "rod_type"),
        ("a", 2.5, "plate", "12 mm", "2 ft", "", "EX38"),
        ("b", 1, "plate", 12.7, "2 ft", "murky", "EX38"),
        ("c", 1, "plate", "1/2 in", "2 ft", "", "EX38"),
    ):
        book.active.append(row)
    book.save(tmp_path / "bad.xlsx")
    done = run(season, "estimate", "draft", str(tmp_path / "bad.xlsx"))
    assert done.returncode == 2
    assert not done.stdout
    for cell in ("B2", "D3", "F3"):
        assert f"(cell {cell})" in done.stderr
