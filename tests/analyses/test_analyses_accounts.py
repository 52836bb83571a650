"""Rods, times and rod changes: what adds up and what nobody wrote down."""

from __future__ import annotations

import pytest
from account_record import dive, record
from hypothesis import given, settings
from hypothesis import strategies as st

from burnlog.analyses.accounts import RodBalance, rod_equivalents, rods_balance, stub_counts
from burnlog.analyses.dive_times import breaches, rod_changes
from burnlog.errors import InputError

IN = 25.4


def test_R27_three_rods_unaccounted() -> None:
    """40 issued, 6 back, 29 started and 2 lost leave 3 rods unaccounted."""
    (box,) = rods_balance(record(dive(14, {}, rods=29, issued=40, returned=6, lost=2, broken_or_wet=0)))
    assert box.unaccounted == 3
    assert box.sentence() == "3 rods unaccounted"
    assert (box.dive, box.sheet, box.rod_type) == ("J1 14", "S14", "X18")


def test_R27_a_blank_that_could_explain_it_is_named() -> None:
    """With rods broken not written down the three stay unaccounted, and the blank is named beside them."""
    (box,) = rods_balance(record(dive(14, {}, rods=29, issued=40, returned=6, lost=2)))
    assert box.sentence() == "3 rods unaccounted (broken or wet not recorded)"


@pytest.mark.parametrize(
    ("said", "names"),
    [
        ({"issued": 40, "rods": 29}, "1 blank (returned)"),
        ({"returned": 6, "rods": 29}, "1 blank (issued)"),
        ({"issued": 40, "returned": 6}, "1 blank (started)"),
        ({"rods": 29}, "2 blank (issued, returned)"),
    ],
)
def test_R27_a_blank_in_the_sum_gives_no_false_zero(said: dict[str, float], names: str) -> None:
    """A blank among issued, returned and started leaves no balance and is counted and named."""
    (box,) = rods_balance(record(dive(1, {}, **said)))
    assert box.unaccounted is None
    assert box.sentence() == f"cannot balance, {names}"


def test_R27_counts_by_cut_add_up_and_a_missing_one_stops_the_sum() -> None:
    """Rods counted by cut are summed over the dive; one cut without a count leaves started blank."""
    whole = record(dive(1, {"rods": 4}, {"rods": 5, "stubs": (152.4,)}, issued=20, returned=10))
    (box,) = rods_balance(whole)
    assert box.started == 10  # the part-burned rod was lit too
    assert box.unaccounted == 0
    holed = record(dive(1, {"rods": 4}, {}, issued=20, returned=10))
    (box,) = rods_balance(holed)
    assert box.started is None
    assert box.unaccounted is None


def test_R27_more_told_than_issued() -> None:
    """A count ten times too big shows as rods nobody issued."""
    (box,) = rods_balance(record(dive(1, {}, rods=60, issued=20, returned=10, lost=0, broken_or_wet=0)))
    assert box.sentence() == "50 rods more than issued"


def test_R27_an_estimate_and_a_bound_are_said() -> None:
    """An estimated count balances with that word beside it; an at-least count gives no balance."""
    about = record(dive(1, {}, rods=10, rods_basis="estimated", issued=20, returned=10))
    assert rods_balance(about)[0].sentence() == "balances, started is an estimate"
    least = record(dive(1, {}, rods=10, rods_basis="at least", issued=20, returned=10))
    assert rods_balance(least)[0].unaccounted is None
    assert "at least 10" in rods_balance(least)[0].sentence()


def test_R27_half_a_rod_stated_is_a_rod_lit() -> None:
    """Six and a half rods stated are seven rods started."""
    (box,) = rods_balance(record(dive(1, {}, rods=6.5, issued=10, returned=3)))
    assert box.started == 7
    assert box.unaccounted == 0


_COUNT = st.one_of(st.none(), st.integers(0, 60).map(float))


@settings(max_examples=200, derandomize=True, deadline=None)
@given(_COUNT, _COUNT, _COUNT, _COUNT, _COUNT)
def test_R27_every_rod_issued_is_somewhere(
    issued: float | None, returned: float | None, started: float | None, lost: float | None, broken: float | None
) -> None:
    """The terms and what is unaccounted add up to issued, or there is no balance and a blank is named."""
    basis = "measured" if started is not None else "not recorded"
    box = RodBalance("J", "J 1", "X", None, issued, returned, started, basis, lost, broken)
    if box.unaccounted is None:
        assert box.blanks
        assert "cannot balance" in box.sentence()
    else:
        assert not box.blanks
        told = [returned, started, lost, broken, box.unaccounted]
        assert sum(term or 0.0 for term in told) == issued


def test_R27_rod_types_are_balanced_apart() -> None:
    """Two rod types in one dive have a balance each."""
    cuts = ({"rods": 4, "rod_type": "X18"}, {"rods": 3, "rod_type": "T14"})
    boxes = rods_balance(record(dive(1, *cuts)))
    assert [(box.rod_type, box.started) for box in boxes] == [("T14", 3), ("X18", 4)]


@pytest.mark.parametrize(("stub_in", "worth"), [(3, 1.0), (6, 0.8), (9, 0.6), (12, 0.4), (2, 1.0667)])
def test_R28_stubs_of_an_18_inch_rod(stub_in: float, worth: float) -> None:
    """An 18 in rod with a planned stub of 3 in: (18 - stub) / 15, closed form."""
    found = rod_equivalents(0, (stub_in * IN,), length_mm=18 * IN, planned_stub_mm=3 * IN)
    assert found == pytest.approx(worth, abs=5e-5)


def test_R28_a_14_inch_rod() -> None:
    """A 14 in rod with 5 in left is 9/11 of a rod."""
    assert rod_equivalents(0, (5 * IN,), length_mm=14 * IN, planned_stub_mm=3 * IN) == pytest.approx(9 / 11)


def test_R28_no_planned_stub_no_equivalents() -> None:
    """Without a planned stub measured stubs have no equivalents, and whole rods still count."""
    assert rod_equivalents(7, (152.4,), length_mm=457.2, planned_stub_mm=None) is None
    assert rod_equivalents(7, (152.4,), length_mm=float("nan"), planned_stub_mm=76.2) is None
    assert rod_equivalents(7, (), length_mm=None, planned_stub_mm=None) == 7


@pytest.mark.parametrize("stub", [-1.0, 460.0])
def test_R28_a_stub_that_cannot_be(stub: float) -> None:
    """A stub below nothing or longer than its rod is refused with both numbers."""
    with pytest.raises(InputError, match="457"):
        rod_equivalents(0, (stub,), length_mm=457.2, planned_stub_mm=76.2)


def test_R28_a_short_stub_carries_its_caution() -> None:
    """A rod burned below the planned stub is worth more than 1 and carries the caution; a longer stub none."""
    short, long = stub_counts(record(dive(1, {"stubs": (2 * IN,)}, {"rods": 7, "stubs": (6 * IN,)})))
    assert short.equivalents == pytest.approx(16 / 15)
    assert short.caution is not None
    assert "arrestors" in short.caution
    assert long.equivalents == pytest.approx(7.8)
    assert long.caution is None


def test_R29_burn_longer_than_elapsed() -> None:
    """25 min of burning in a cut of 21 min is reported with both times, sheet and row."""
    (breach,) = breaches(record(dive(14, {}, {"burn_s": 1500.0, "elapsed_s": 1260.0})))
    assert breach.sentence() == "burn time 25 min is longer than elapsed 21 min"
    assert (breach.target, breach.sheet, breach.row) == ("J1 14.2", "S14", 2)


def test_R29_the_four_clocks_of_a_dive() -> None:
    """Cuts inside work, work inside bottom; with work not written the cuts are held against bottom time."""
    nested = record(dive(1, {"elapsed_s": 600.0}, {"elapsed_s": 900.0}, work_time_s=1500.0, bottom_time_s=2700.0))
    assert breaches(nested) == ()
    over = record(dive(1, {"elapsed_s": 600.0}, {"elapsed_s": 960.0}, work_time_s=1500.0, bottom_time_s=1400.0))
    assert [(b.inner, b.outer) for b in breaches(over)] == [
        ("elapsed of its cuts", "work time"),
        ("work time", "bottom time"),
    ]
    blank = record(dive(1, {"elapsed_s": 3000.0}, bottom_time_s=2700.0))
    assert [(b.inner, b.outer) for b in breaches(blank)] == [("elapsed of its cuts", "bottom time")]


def test_R30_hot_time_is_held_against_elapsed_only() -> None:
    """Hot time shorter or longer than burn time is no breach; longer than elapsed it is."""
    fine = record(dive(1, {"burn_s": 300.0, "hot_s": 200.0, "elapsed_s": 600.0}, {"burn_s": 200.0, "hot_s": 300.0}))
    assert breaches(fine) == ()
    (breach,) = breaches(record(dive(1, {"hot_s": 700.0, "elapsed_s": 600.0})))
    assert breach.inner == "hot time"


def test_R31_stoppages_longer_than_the_cut() -> None:
    """Stoppages that add up to more than the cut took are reported."""
    (breach,) = breaches(record(dive(1, {"stoppage_s": 700.0, "elapsed_s": 600.0})))
    assert breach.inner == "stoppages"


def test_R31_change_delay_from_burn_time() -> None:
    """21 min elapsed, 6 burning, 5 stopped and 8 rods make 10/7 = 1.43 min a change."""
    cut = {"elapsed_s": 1260.0, "burn_s": 360.0, "stoppage_s": 300.0, "rods": 8}
    changes = rod_changes(record(dive(1, cut)))
    assert changes.median_delay_s is not None
    assert changes.median_delay_s / 60 == pytest.approx(10 / 7)
    assert changes.burn_and_change == ()
    assert "5 are needed" in changes.why["exothermic"]


def test_R31_without_burn_time_the_slope_is_burn_plus_change() -> None:
    """Cuts of 100 s and 75 s a rod give a slope of 75 s, named burn plus change, and no change delay."""
    cuts = [{"rods": n, "elapsed_s": 100.0 + 75.0 * n} for n in (1, 2, 3, 5, 8)]
    changes = rod_changes(record(dive(1, *cuts)))
    (slope,) = changes.burn_and_change
    assert slope.s_per_rod == pytest.approx(75.0)
    assert (slope.cuts, slope.family) == (5, "exothermic")
    assert changes.median_delay_s is None
    assert "change delay" in changes.why


def test_R31_one_count_ten_times_too_big_hardly_moves_the_slope() -> None:
    """Twenty cuts at 75 s a rod and one slip of the pen still say 75 s a rod."""
    cuts = [{"rods": 1 + n % 8, "elapsed_s": 60.0 + 75.0 * (1 + n % 8)} for n in range(20)]
    slip = {"rods": 70, "elapsed_s": 60.0 + 75.0 * 7}
    (slope,) = rod_changes(record(dive(1, *cuts, slip))).burn_and_change
    assert slope.s_per_rod == pytest.approx(75.0)
    assert slope.cuts == 21


def test_R31_shared_counts_and_bounds_stay_out() -> None:
    """A count over the dive or an at-least count gives no rod change."""
    shared = record(dive(1, *[{"elapsed_s": 300.0, "burn_s": 100.0}] * 6, rods=20))
    assert rod_changes(shared).delays == ()
    bound = record(dive(1, {"elapsed_s": 300.0, "burn_s": 100.0, "rods": 4, "rods_basis": "at least"}))
    assert rod_changes(bound).delays == ()


def test_blank_record_has_empty_accounts() -> None:
    """A record without dives has nothing to balance, nest or change."""
    frames = record()
    assert rods_balance(frames) == ()
    assert breaches(frames) == ()
    assert stub_counts(frames) == ()
    assert rod_changes(frames).delays == ()
