"""Which part of the record a question is about: codes as the record has them, and no code it does not have."""

from __future__ import annotations

from pathlib import Path

import pytest
from terminal import SEED, run


@pytest.mark.parametrize(
    "words",
    [
        ("rates", "--job", "NOPE"),
        ("rates", "--crew", "NOPE"),
        ("rates", "--diver", "NOPE"),
        ("flags", "list", "--job", "NOPE"),
        ("sag", "--job", "NOPE"),
        ("events", "--job", "NOPE"),
        ("report", "flags", "--job", "NOPE"),
    ],
)
def test_a_code_that_nobody_has_is_refused(season: Path, words: tuple[str, ...]) -> None:
    """A mistyped code is told with the nearest ones: it must not read as a job without an odd burn."""
    done = run(season, *words)
    assert (done.returncode, done.stdout) == (2, "")
    assert "NOPE: the record has no such" in done.stderr
    assert "the nearest are" in done.stderr


def test_codes_are_found_whatever_their_case(season: Path) -> None:
    """`--job dolph5` is DOLPH5."""
    assert run(season, "rates", "--job", "dolph5").stdout == run(season, "rates", "--job", "DOLPH5").stdout


def test_a_seed_that_is_blank_is_refused(season: Path) -> None:
    """`--seed ''` is no seed: the draws would rest on a number that nobody typed."""
    for words in (("estimate", "draft", str(SEED / "takeoff.csv"), "--seed", ""), ("backtest", "--seed", "")):
        done = run(season, *words)
        assert (done.returncode, done.stdout) == (2, "")
        assert "--seed is blank" in done.stderr


def test_a_day_that_is_none_is_told_by_its_name(season: Path) -> None:
    """The 31st of February is named with the option it stood in, or as the day."""
    assert "--since 2026-02-31: expected a date" in run(season, "rates", "--since", "2026-02-31").stderr
    assert "the day 2026-02-31: expected a date" in run(season, "day", "2026-02-31").stderr
