"""In whose units values are shown: as asked, else as the jobs shown have it, else metric."""

from __future__ import annotations

from pathlib import Path

import pytest
from terminal import run

from burnlog.cli.context import Context

US, METRIC = "DOLPH5", "WALL8"
"""Two jobs of the season whose people read numbers differently."""
DAYS = {US: "2026-02-11", METRIC: "2025-08-06"}


@pytest.mark.parametrize(
    ("asked", "jobs", "shown"),
    [
        (None, ["us"], "us"),
        (None, ["us", "us", None], "us"),
        (None, ["us", "metric"], "metric"),
        (None, [None], "metric"),
        (None, [], "metric"),
        ("us", ["metric"], "us"),
        ("metric", ["us"], "metric"),
    ],
)
def test_units_are_as_asked_else_as_the_jobs_agree(asked: str | None, jobs: list[str | None], shown: str) -> None:
    """`--units` wins; without it the profile that all jobs with one share; where none is shared, metric."""
    assert Context(db=Path("log.db"), by=None, units=asked).profile(jobs) == shown


def _words(command: str, job: str) -> tuple[str, ...]:
    """A command that speaks of one job."""
    day = DAYS[job]
    return {
        "check": ("check", "--since", "2026-02-01") if job == US else ("check",),
        "day": ("day", day),
        "left": ("left", "--job", job),
        "stock": ("stock", "--job", job, "--rods-in-box", "60"),
        "rates": ("rates", "--job", job),
        "flags": ("flags", "list", "--job", job),
        "crews": ("crews", "--job", job),
        "cuts": ("list", "cuts", "--job", job),
    }[command]


@pytest.mark.parametrize("command", ["check", "day", "left", "stock", "rates", "flags", "crews", "cuts"])
def test_a_report_speaks_in_the_units_of_its_job(season: Path, command: str) -> None:
    """Without --units a job of feet reads as with `--units us`, a metric one as with `--units metric`."""
    for job, own, other in ((US, "us", "metric"), (METRIC, "metric", "us")):
        if job == METRIC and command == "flags":
            continue  # that job raises no question, so none of its values is shown
        words = _words(command, job)
        said = run(season, *words)
        assert said.returncode in (0, 4), said.stderr
        assert said.stdout == run(season, "--units", own, *words).stdout
        assert said.stdout != run(season, "--units", other, *words).stdout


def test_a_report_over_jobs_that_differ_is_metric(season: Path) -> None:
    """Feet and metres in one report: metric, unless somebody asks."""
    said = run(season, "rates", "--job", US, "--job", METRIC)
    assert said.stdout == run(season, "--units", "metric", "rates", "--job", US, "--job", METRIC).stdout
    assert "Rods per m:" in said.stdout


def test_a_page_speaks_in_the_units_of_its_job(season: Path, tmp_path: Path) -> None:
    """The page of a day in feet or metres, as its job has it."""
    for job, unit in ((US, " ft"), (METRIC, " m")):
        pages = {}
        for asked in ((), ("--units", "us"), ("--units", "metric")):
            path = tmp_path / "day.html"
            assert run(season, *asked, "report", "day", DAYS[job], "--out", str(path)).returncode == 0
            pages[asked] = path.read_text(encoding="utf-8")
        own = ("--units", "us" if job == US else "metric")
        assert pages[()] == pages[own]
        assert unit in pages[()]
        assert len(set(pages.values())) == 2


def test_a_bid_speaks_in_the_units_of_its_history(season: Path, tmp_path: Path) -> None:
    """A history of jobs in feet makes a bid in feet; the rest of a metric job is metric."""
    takeoff = tmp_path / "plates.csv"
    takeoff.write_text(
        "item,section,thickness,length_each,rod_type\nplates,plate,5/8 in,4 ft,EX38\n", encoding="utf-8"
    )
    words = ("estimate", "draft", str(takeoff), "--draws", "2000")
    feet = [word for job in ("QUAY3", "PIER12", "PIER14", "MOOR1", "DOLPH2", "DOLPH5") for word in ("--job", job)]
    for more, own in ((feet, "us"), (["--rest-of", METRIC], "metric"), ([], "metric")):
        said = run(season, *words, *more)
        assert said.returncode == 0, said.stderr
        assert said.stdout == run(season, "--units", own, *words, *more).stdout
