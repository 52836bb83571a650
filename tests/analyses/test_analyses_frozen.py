"""What becomes of a bid: it repeats to the byte, is varied, and is held against what came."""

from __future__ import annotations

import json

import numpy as np
from bid_record import plates

from burnlog.analyses.basis import Basis
from burnlog.analyses.estimate import Estimate, Plan, draft
from burnlog.analyses.frozen import Closed, differences, freeze, score, thaw
from burnlog.analyses.takeoff import read_takeoff
from burnlog.analyses.whatif import vary
from burnlog.physics.sections import read_section


def test_R61_a_frozen_estimate_repeats_to_the_byte(made: Estimate) -> None:
    """What is kept of an estimate, through JSON and back, makes the same bytes again."""
    kept = json.loads(json.dumps(freeze(made), allow_nan=False))
    again = thaw(kept)
    assert json.dumps(again.as_json(), sort_keys=True) == json.dumps(made.as_json(), sort_keys=True)
    assert differences(kept["result"], json.loads(json.dumps(again.as_json()))) == []


def test_R61_a_frozen_take_off_is_read_as_it_was_read_then(basis: Basis) -> None:
    """Header units, the water that turned feet into pressure and the user's own sections are frozen with the bid."""
    own = [read_section("mine", "pipe", {"od": "20 in", "wall": "0.5 in"}, "drawing 4")]
    row = {"item": "a", "section": "mine", "thickness [mm]": "", "depth": "35 ft"}
    bare = {"item": "b", "section": "plate", "thickness [mm]": "12.7", "depth": "35 ft", "length_each": "1 m"}
    names = dict.fromkeys((*row, *bare), "")
    takeoff = read_takeoff(
        enumerate([{**names, **row}, {**names, **bare}], 2), source="t.csv", own_sections=own, water="salt"
    )
    made = draft(basis, takeoff, Plan(draws=2000))
    again = thaw(json.loads(json.dumps(freeze(made), allow_nan=False)))
    assert again.takeoff.items == made.takeoff.items
    assert json.dumps(again.as_json()) == json.dumps(made.as_json())


def test_R61_differences_name_the_key() -> None:
    """Two results that differ beyond six digits are told apart by key; within six digits they agree."""
    assert differences({"a": {"b": 1.0}}, {"a": {"b": 1.0000001}}) == []
    assert differences({"a": {"b": 1.0}}, {"a": {"b": 1.01}}) == ["a.b"]


def test_R62_a_level_without_history_has_no_number(made: Estimate) -> None:
    """Of three visibilities one was never logged: two figures and one None."""
    found = vary(made, "visibility", ["by feel", "1-3 ft", "over 10 ft"])
    assert [level for level, one in found if one is None] == ["over 10 ft"]
    assert sum(one is not None for _, one in found) == 2


def test_R62_less_bottom_time_more_dives(made: Estimate) -> None:
    """Dives rise as the bottom time falls; rods stay to the digit."""
    long, short = (one for _, one in vary(made, "bottom_time_s", [3600.0, 1800.0]))
    assert long is not None
    assert short is not None
    assert long.dives is not None
    assert short.dives is not None
    assert short.dives.mean() > 2 * long.dives.mean()
    assert np.array_equal(long.rods, short.rods)


def test_R64_six_of_nine_inside() -> None:
    """Six of nine actuals inside reads 67 %, could be 30 to 93 % (Clopper and Pearson, recomputed by scipy)."""
    rows = [Closed(f"E{n}", 10.0, 20.0, 30.0, 20.0 if n < 6 else 40.0, None) for n in range(9)]
    found = score([*rows, Closed("E9", 10, 20, 30, None, None), Closed("E10", 10, 20, 30, 20, "two piles more")])
    assert found.sentence.startswith("6 of 9 (67 %, could be 30-93 %)")
    assert found.not_closed == ("E9",)
    assert (found.changed, found.changed_inside) == (1, 1)


def test_same_seed_same_bytes_other_seed_other_bytes(basis: Basis) -> None:
    """An estimate repeats to the byte by its seed, and only by its seed."""
    one, two, other = (json.dumps(draft(basis, plates(), Plan(draws=2000, seed=s)).as_json()) for s in (1, 1, 2))
    assert one == two != other


def test_R64_few_closed_bids_have_no_percentage() -> None:
    """Two closed bids are counted, and not made into a percentage."""
    rows = [Closed(f"E{n}", 10.0, 20.0, 30.0, 20.0, None) for n in range(2)]
    assert score(rows).sentence == "2 of 2 actuals inside the 80 % range (fewer than 5, so no percentage)"
