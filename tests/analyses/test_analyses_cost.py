"""Cost from a typed price list."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from burnlog.analyses.cost import cost
from burnlog.errors import InputError


def price(name: str, value: float | None, unit: str = "USD") -> dict[str, Any]:
    """One row of a price list."""
    return {"name": name, "value": value, "unit": unit, "source": "quote of 2026-03"}


AMOUNTS: dict[str, dict[str, Any]] = {
    "rods": {"rod": np.array([100.0, 120.0]), "pack": np.array([4.0, 5.0])},
    "oxygen": {"kg": np.array([40.0, 50.0]), "scf": np.array([1065.0, 1331.0])},
    "dive": {"dive": np.array([20.0, 25.0])},
    "dive day": {"day": None},
    "standby": {"day": np.array([2.0, 2.0])},
}


def test_every_priced_thing_is_added_draw_by_draw() -> None:
    """Rods 7.5 each, oxygen 2 a kg, dives 1000, standby 4000 a day: sums by hand, draw by draw."""
    listed = [
        price("rods", 7.5, "USD/rod"),
        price("Oxygen", 2.0, "USD/kg"),
        price("dives", 1000.0, "USD/dive"),
        price("standby", 4000.0, "USD/day"),
    ]
    found = cost(listed, AMOUNTS)
    assert found.total is not None
    assert found.total.tolist() == [750 + 80 + 20_000 + 8000, 900 + 100 + 25_000 + 8000]
    assert found.parts == ("rods", "oxygen", "dive", "standby")
    assert found.missing == ()
    assert found.currency == "USD"


def test_a_price_is_taken_per_what_it_says() -> None:
    """Rods by the pack and oxygen by the standard cubic foot are priced in those."""
    assert cost([price("rods", 100.0, "EUR/pack")], AMOUNTS).total.tolist() == [400.0, 500.0]  # type: ignore[union-attr]
    assert cost([price("oxygen", 1.0, "EUR/scf")], AMOUNTS).total.tolist() == [1065.0, 1331.0]  # type: ignore[union-attr]
    with pytest.raises(InputError, match="priced per ft"):
        cost([price("rods", 1.0, "USD/ft")], AMOUNTS)


def test_what_has_no_quantity_has_its_own_line_out() -> None:
    """A priced thing that was not estimated, or that is nothing of ours, is named and adds nothing."""
    found = cost([price("rods", 7.5, "USD/rod"), price("dive day", 9000.0), price("vessel", 1.0)], AMOUNTS)
    assert found.total is not None
    assert found.total.tolist() == [750.0, 900.0]
    assert found.missing == ("dive day (not estimated)", "vessel")


def test_no_prices_no_cost() -> None:
    """Nothing is built in: an empty list gives no cost and no currency."""
    found = cost([], AMOUNTS)
    assert found.total is None
    assert found.currency is None


@pytest.mark.parametrize(
    "listed",
    [
        [price("rods", 7.5, "USD/rod"), price("oxygen", 2.0, "EUR/kg")],
        [price("dive", 900.0, "USD/dive"), price("dives", 950.0, "USD/dive")],
    ],
)
def test_a_list_that_contradicts_itself_is_refused(listed: list[dict[str, Any]]) -> None:
    """Two currencies, or two prices for one thing, are refused."""
    with pytest.raises(InputError, match=r"currency|twice"):
        cost(listed, AMOUNTS)
