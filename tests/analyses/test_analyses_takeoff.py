"""What a take-off is read to: lengths of sections, every bad cell at once, and what is no length."""

from __future__ import annotations

import pytest
from bid_record import take_off

from burnlog.errors import RowErrors

FT = 0.3048


def test_R56_three_items_give_their_lengths() -> None:
    """24 HP14x117, 6 pipes of 24 in and 40 Z sheets of 700 mm: 84.7, 37.7 and 122.6 ft, 39 interlocks."""
    found = take_off(
        {"item": "piles", "quantity": "24", "section": "HP14x117"},
        {"item": "pipes", "quantity": "6", "section": "pipe", "dims": "od=24in wall=.375in"},
        {
            "item": "wall",
            "quantity": "40",
            "section": "z sheet",
            "dims": "w=700mm h=460mm tf=12.2mm tw=12.2mm slope=55.2deg",
        },
    )
    assert [round(item.total_m / FT, 1) for item in found.items] == [84.7, 37.7, 122.6]
    assert found.items[2].interlocks == 39


def test_R56_every_bad_cell_is_reported_at_once() -> None:
    """A take-off with three bad cells names all three with their rows, and nothing is estimated."""
    with pytest.raises(RowErrors) as caught:
        take_off(
            {"item": "a", "section": "plate", "thickness": "12", "length_each": "1 m"},
            {"item": "b", "section": "plate", "thickness": "12 mm", "length_each": "1 m", "visibility": "murky"},
            {"item": "c", "quantity": "0", "section": "plate", "thickness": "12 mm", "length_each": "1 m"},
        )
    assert [(p.row, p.column) for p in caught.value.problems] == [
        (2, "thickness"),
        (3, "visibility"),
        (4, "quantity"),
    ]


def test_R56_an_unknown_column_brings_the_nearest_names_and_no_more() -> None:
    """One misspelt header is one short line, with the column that was meant."""
    with pytest.raises(RowErrors) as caught:
        take_off({"item": "a", "section": "plate", "thickness": "12 mm", "length_each": "1 m", "rod_typ": "EX38"})
    (problem,) = caught.value.problems
    assert problem.column == "rod_typ"
    assert "the nearest are rod_type, " in problem.message


def test_R23_a_perimeter_is_refused_with_the_explanation() -> None:
    """A column called perimeter is no length of a cut line."""
    with pytest.raises(RowErrors, match="cleaned"):
        take_off({"item": "a", "perimeter": "86.35 in"})
