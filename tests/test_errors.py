"""The error tree: exit codes, and messages that name the place."""

from __future__ import annotations

import re

import pytest

from burnlog import errors
from burnlog.errors import BurnlogError, CellProblem, ReadError, RowErrors


def _tree() -> dict[str, type[BurnlogError]]:
    found = {name: getattr(errors, name) for name in errors.__all__}
    return {name: kind for name, kind in found.items() if issubclass(kind, BurnlogError)}


def test_the_tree_drawn_is_the_tree_there_is() -> None:
    """Every error class stands in the drawing with the exit code it has, and the other way round."""
    assert errors.__doc__ is not None
    drawn = dict(re.findall(r"^[|+\- ]*([A-Z]\w+) +(\d) ", errors.__doc__, flags=re.MULTILINE))
    assert {name: int(code) for name, code in drawn.items()} == {
        name: kind.exit_code for name, kind in _tree().items()
    }


@pytest.mark.parametrize(("name", "kind"), _tree().items())
def test_every_error_has_one_root(name: str, kind: type[BurnlogError]) -> None:
    """One `except BurnlogError` catches whatever burnlog raises on purpose."""
    assert issubclass(kind, BurnlogError)
    assert 1 <= kind.exit_code <= 5
    assert kind.__doc__


def test_an_unreadable_value_keeps_its_facts() -> None:
    """The text and the kind are attributes, so that nobody has to parse the sentence."""
    error = ReadError("'12' has no unit", text="12", kind="thickness")
    assert (error.text, error.kind, error.exit_code) == ("12", "thickness", 2)


@pytest.mark.parametrize(
    ("problem", "text"),
    [
        (CellProblem(7, "thickness", "'12' has no unit"), "row 7, column thickness: '12' has no unit"),
        (CellProblem(7, "rods", "no", cell="F7"), "row 7, column rods (cell F7): no"),
        (CellProblem(1, "", "no header"), "row 1: no header"),
    ],
)
def test_R06_a_cell_problem_names_its_place(problem: CellProblem, text: str) -> None:
    """Row, column and cell stand before the reason."""
    assert str(problem) == text


def test_R06_row_errors_tell_all_in_order() -> None:
    """Every bad cell is named, by row, and the head says that nothing was written."""
    error = RowErrors("sheet.csv", [CellProblem(9, "rods", "b"), CellProblem(2, "line", "a")])
    assert str(error).splitlines() == [
        "sheet.csv: 2 problems, nothing written.",
        "  row 2, column line: a",
        "  row 9, column rods: b",
    ]
    assert [problem.row for problem in error.problems] == [2, 9]
    assert "1 problem," in str(RowErrors("x", [CellProblem(2, "line", "a")]))
