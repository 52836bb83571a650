"""The backtest at the command line: past jobs, invented records, and a bar only for those who watch."""

from __future__ import annotations

import io
import json
import sys
from pathlib import Path

import pytest
from terminal import run, seeded

from burnlog.cli import progress
from burnlog.cli.hindsight import rods_per_metre
from burnlog.errors import InputError


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A log of the first year alone."""
    names = ("jobs", "rod_types", "persons", "rigs", "banks", "cuts_2023")
    return seeded(tmp_path_factory.mktemp("hindsight") / "log.db", *names)


def test_simulate_says_what_it_rests_on_and_repeats(log: Path) -> None:
    """The answer opens with INVENTED RECORDS, names its seed and n, is silent on stderr and repeats as JSON."""
    done = run(log, "backtest", "--simulate", "--histories", "20", "--seed", "4")
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert done.stdout.startswith("INVENTED RECORDS. 20 records")
    assert "seed 4, 20 invented records" in done.stdout
    assert "Planning and learning record only" in done.stdout
    one = json.loads(run(log, "backtest", "--simulate", "--histories", "20", "--seed", "4", "--json").stdout)
    assert one["invented"] is True
    assert f"{100 * one['held']['rods']['c80']:.0f} %" in done.stdout


def test_what_does_not_go_together_is_said(log: Path) -> None:
    """Invented records have no past to go forward in; a number of them needs them asked for."""
    for words in (("--simulate", "--forward"), ("--histories", "50"), ("--simulate", "--histories", "3")):
        done = run(log, "backtest", *words)
        assert done.returncode == 2
        assert "invented records" in done.stderr or "--simulate" in done.stderr


class _Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(
    ("watched", "patience", "drawn"), [(True, 0.0, True), (True, 60.0, False), (False, 0.0, False)]
)
def test_the_bar_is_for_slow_work_on_a_terminal(
    monkeypatch: pytest.MonkeyPatch, watched: bool, patience: float, drawn: bool
) -> None:
    """A bar appears on a terminal once the patience is over, and never in a file or a pipe."""
    stream = _Terminal() if watched else io.StringIO()
    monkeypatch.setattr(sys, "stderr", stream)
    monkeypatch.setattr(progress, "PATIENCE_S", patience)
    monkeypatch.setenv("TERM", "xterm")
    with progress.bar("invented records") as tick:
        for n in range(1, 4):
            tick(n, 3)
    assert ("invented records" in stream.getvalue()) is drawn


@pytest.mark.parametrize(
    ("text", "per_m"),
    [
        ("4.4 rods/m", 4.4),
        ("1.33 rods/ft", 1.33 / 0.3048),
        ("1.33 rods per ft", 1.33 / 0.3048),
        ("9 in/rod", 1 / 0.2286),
    ],
)
def test_a_rule_of_thumb_is_read_as_people_say_it(text: str, per_m: float) -> None:
    """Rods over a foot or a metre, or a length per rod; the foot is 0.3048 m by definition."""
    assert rods_per_metre(text) == pytest.approx(per_m, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "words"), [("4.4", "of what length"), ("0 rods/m", "above 0"), ("9/rod", "no unit")]
)
def test_a_rule_of_thumb_without_its_length_is_refused(text: str, words: str) -> None:
    """A bare number could be by the foot or by the metre."""
    with pytest.raises(InputError, match=words):
        rods_per_metre(text)


def test_the_backtest_of_the_season_stands_beside_its_rivals(season: Path, tmp_path: Path) -> None:
    """80 % coverage lies in its exact band, scores stand beside those of rivals, and page and JSON agree."""
    page = tmp_path / "backtest.html"
    done = run(season, "backtest", "--rule", "4.4 rods/m", "--page", str(page), "--svg", str(tmp_path), "--json")
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    scores = found["methods"]
    assert set(scores) == {"integrated", "plug_in", "pooled", "rule", "job_t"}
    mine = scores["integrated"]
    assert mine["c80_low"] <= 0.8 <= mine["c80_high"]
    for rival in ("rule", "pooled"):
        assert mine["crps"] < scores[rival]["crps"]
        assert mine["pinball80"] < scores[rival]["pinball80"]
    inside = sum(row["p10"] <= row["actual_rods"] <= row["p90"] for row in found["rows"])
    assert mine["c80"] == pytest.approx(inside / found["jobs"])
    text = page.read_text(encoding="utf-8").split("<script")[0]
    assert f"{inside} of {found['jobs']} past jobs" in text
    for row in found["rows"]:
        assert f'<td class="n">{row["p10"]:.0f}</td>' in text.split(f'<th scope="row">{row["job"]}</th>')[1][:60]
    for score in scores.values():
        assert f"{score['crps']:.3f}" in text
        assert f"{score['pinball80']:.3f}" in text
    assert "permit" in text
    assert {"jobs.svg", "held.svg"} <= {file.name for file in tmp_path.iterdir()}
    said = run(season, "backtest", "--rule", "4.4 rods/m").stdout
    assert max(map(len, said.splitlines())) <= 80
    assert f"{mine['pinball80']:.3f}" in said
