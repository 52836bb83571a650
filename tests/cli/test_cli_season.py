"""The questions people ask of a record, put to the invented season."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from terminal import ORDER, SEED, run


def test_R06_seed_files_again_add_nothing(own: Path) -> None:
    """Importing every seed file a second time adds no row."""
    done = run(own, "import", *(str(SEED / f"{name}.csv") for name in ORDER), "--json")
    assert done.returncode == 0, done.stderr
    assert all(sum(file["added"].values()) == 0 for file in json.loads(done.stdout)["files"])


def test_the_demo_runs_to_the_end_and_says_made_up(tmp_path: Path) -> None:
    """One command goes from files to a page; a second time into the same folder is refused."""
    done = run(tmp_path / "x.db", "demo", str(tmp_path / "demo"))
    assert done.returncode == 0, done.stderr
    for words in ("MADE UP", "Rods per ft", "Odd burns", "Oxygen", "Crews", "ESTIMATE", "P80", "permit"):
        assert words in done.stdout
    assert done.stdout.isascii()
    assert max(len(line) for line in done.stdout.splitlines() if "/" not in line) <= 80
    page = (tmp_path / "demo" / "estimate.html").read_text(encoding="utf-8")
    assert "MADE UP" in page
    assert run(tmp_path / "x.db", "demo", str(tmp_path / "demo")).returncode == 5


@pytest.mark.parametrize(
    "words",
    [
        ("rates", "--by", "crew", "--by", "diver", "--by", "family", "--by", "visibility", "--by", "thickness"),
        ("flags", "list"),
        ("sag",),
        ("crews",),
        ("crews", "--by", "diver"),
        ("events",),
        ("practice",),
        ("left", "--job", "DOLPH5"),
        ("day", "2026-02-11", "--needed", "150 psi"),
        ("stock", "--job", "PIER12", "--rods-in-box", "60", "--needed", "150 psi"),
    ],
)
def test_every_question_has_an_answer_in_text_and_json(season: Path, words: tuple[str, ...]) -> None:
    """Each command ends with 0, in ASCII no wider than 80, with the cautions, and as JSON that holds no NaN."""
    done = run(season, *words)
    assert done.returncode == 0, done.stderr
    assert done.stdout.isascii()
    assert max(map(len, done.stdout.splitlines())) <= 80
    assert "Not a cutting procedure" in done.stdout
    for banned in ("safe to", "approved", "compliant", "recommended setting", "you should set"):
        assert banned not in done.stdout.lower()
    json.loads(run(season, *words, "--json").stdout, parse_constant=lambda text: pytest.fail(f"{text} in JSON"))


def test_R67_no_ranking_words_about_crews(season: Path) -> None:
    """What is said of crews and divers holds no word of a ranking, and there is no sorting by result."""
    for by in ("crew", "diver"):
        text = run(season, "crews", "--by", by).stdout.lower()
        for banned in ("best", "worst", "rank", "league", "performer"):
            assert banned not in text.split()
    assert run(season, "crews", "--sort", "result").returncode == 2


def test_R35_check_ends_with_four_where_something_does_not_add_up(season: Path) -> None:
    """The invented season holds slips; check lists them and changes nothing."""
    before = season.read_bytes()
    done = run(season, "check")
    assert done.returncode == 4
    assert "unaccounted" in done.stdout
    assert season.read_bytes() == before


def test_R55_a_decision_moves_the_figures_only_when_it_leaves_out(own: Path) -> None:
    """Without a decision the headline stays; leave-out by somebody with a reason takes the burn out of it."""
    found = json.loads(run(own, "flags", "list", "--json").stdout)
    flags = found["flags"] if isinstance(found, dict) else found
    odd = next(flag for flag in flags if flag["kind"] == "rods")
    headline = json.loads(run(own, "rates", "--json").stdout)["rods"]["rods"]
    words = ("flags", "decide", odd["rule"], odd["target"])
    assert run(own, *words, "leave-out", "--why", "typed ten-fold").returncode == 2
    stray = run(own, "--by", "JM", "flags", "decide", odd["rule"], "tally 999999", "keep", "--why", "thick weld")
    assert stray.returncode == 2
    assert odd["target"] in stray.stderr
    short = odd["target"].split(" (")[0]
    assert (
        run(own, "--by", "JM", "flags", "decide", odd["rule"], short, "keep", "--why", "thick weld").returncode == 0
    )
    assert json.loads(run(own, "rates", "--json").stdout)["rods"]["rods"] == headline
    assert run(own, "--by", "JM", *words, "leave-out", "--why", "typed ten-fold").returncode == 0
    assert json.loads(run(own, "rates", "--json").stdout)["rods"]["rods"] < headline


def test_R81_events_are_written_as_csv(season: Path, tmp_path: Path) -> None:
    """The list of events goes to a file with its columns, as many rows as are listed, and never over another file."""
    path = tmp_path / "events.csv"
    listed = json.loads(run(season, "events", "--csv", str(path), "--json").stdout)["events"]
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == len(listed) > 0
    wanted = {"event", "outcome", "rig", "piece_kind", "setting", "text"}
    assert wanted <= set(rows[0])
    assert [row["event"] for row in rows] == [row["event"] for row in listed]
    assert any(row["piece_kind"] for row in rows)
    assert run(season, "events", "--csv", str(path)).returncode == 5
