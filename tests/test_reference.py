"""Every number that is held against the outside stands in one list, with its source and how sure we are of it."""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import pytest

TESTS = Path(__file__).parent
REFERENCE = TESTS / "reference"
COLUMNS = ["check", "value", "source", "status", "test"]
STATUSES = {
    "read": "the value stood in the source that was read",
    "recomputed": "computed again from the definition or the data",
    "from memory": "remembered, not read; the tolerance is wide",
    "common practice": "said in the trade, no source",
}


def _rows() -> list[tuple[str, dict[str, str]]]:
    out = []
    for path in sorted((REFERENCE / "checks").glob("*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            out += [(path.stem, row) for row in csv.DictReader(file)]
    return out


def _text() -> str:
    """The list as Markdown. `python tests/test_reference.py` writes it."""
    lines = ["# Outside checks", "", "Built from `checks/*.csv`; a test compares. Status:", ""]
    lines += [f"- *{word}*: {meaning}" for word, meaning in STATUSES.items()]
    lines += ["", "Data sets in this folder name their origin in the first line.", ""]
    part = ""
    for name, row in _rows():
        if name != part:
            part = name
            lines += ["", f"## {name}", "", "| check | value | source | status | test |", "|---|---|---|---|---|"]
        cells = [" ".join(row[column].replace("|", "/").split()) for column in COLUMNS]
        lines.append("| " + " | ".join(cells) + " |")
    return "\n".join(lines) + "\n"


def test_the_list_is_up_to_date() -> None:
    """README.md is what the check files say."""
    assert (REFERENCE / "README.md").read_text(encoding="utf-8") == _text()


@pytest.mark.parametrize("name", sorted({name for name, _ in _rows()}))
def test_every_check_has_its_source_status_and_test(name: str) -> None:
    """No cell is blank, the status is one of four, and the named test exists."""
    for part, row in _rows():
        if part != name:
            continue
        assert list(row) == COLUMNS
        assert all(value and value.strip() for value in row.values()), row
        assert row["status"] in STATUSES, row
        path, _, function = row["test"].partition("::")
        text = (TESTS.parent / path).read_text(encoding="utf-8")
        assert f"def {function.split('[')[0]}(" in text, row["test"]


def test_every_data_set_names_its_origin() -> None:
    """The first line of each published data set is a comment that says where it comes from."""
    for path in REFERENCE.glob("*.csv"):
        assert path.read_text(encoding="utf-8").startswith("# "), path.name


if __name__ == "__main__":
    (REFERENCE / "README.md").write_text(_text(), encoding="utf-8")
    sys.exit(0)
