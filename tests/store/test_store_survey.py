"""Files of many jobs: looked through job by job, so that a long file needs no more memory than its longest job."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from paper import counts, cut, new_log, take, write

from burnlog.errors import RowErrors
from burnlog.store import sheetfile
from burnlog.store.cutsheet import CutSheet
from burnlog.store.exchange import import_file
from burnlog.store.log import Log
from burnlog.store.survey import Survey, survey
from burnlog.store.tablefile import open_table


@pytest.fixture
def log(tmp_path: Path) -> Log:
    return new_log(tmp_path)


def _jobs(jobs: int = 4, dives: int = 3, rows: int = 4) -> list[dict[str, str]]:
    """Jobs whose first dive cuts `all` of a line that says only in the last dive how long it is."""
    return [
        cut(
            job=f"J{job}",
            dive=str(dive),
            row=str(row),
            line=f"L{row}" if dive == 1 else f"L{dive}.{row}",
            planned_length="3 ft",
            new_length="half",
            rods="7",
            rod_type="EX",
            rod_length="18 in" if (job, dive, row) == (jobs, dives, rows) else "",
        )
        for job in range(1, jobs + 1)
        for dive in range(1, dives + 1)
        for row in range(1, rows + 1)
    ]


def _content(log: Log) -> list[dict[str, object]]:
    return log.rows(
        "SELECT j.code AS job, d.dive_no, c.row, l.code AS line, l.planned_length_mm, c.new_length_mm, t.rods, c.id "
        "FROM cut c JOIN dive d ON d.id = c.dive_id JOIN job j ON j.id = d.job_id JOIN line l ON l.id = c.line_id "
        "JOIN tally_cut tc ON tc.cut_id = c.id JOIN tally t ON t.id = tc.tally_id ORDER BY 1, 2, 3"
    )


def test_the_order_of_the_jobs_does_not_matter(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Jobs one after the other, jobs mixed, rows shuffled, and jobs too long to hold come to the same record."""
    rows = _jobs()
    by_dive = sorted(rows, key=lambda row: (row["dive"], row["job"]))
    shuffled = random.Random(3).sample(rows, len(rows))
    found = []
    for number, order in enumerate((rows, by_dive, shuffled, rows)):
        if number == 3:
            monkeypatch.setattr(sheetfile, "MOST_HELD", 5)
        with new_log(tmp_path, f"{number}.db") as log:
            take(log, tmp_path, *order, name=f"{number}.csv")
            found.append(_content(log))
    assert len(found[0]) == 48
    assert found == [found[0]] * 4


def test_no_more_than_one_job_is_held(log: Log, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of a file whose jobs stand together, lines of one job at a time are remembered."""
    most = []
    look = Survey.look_at_lines

    def watched(self: Survey, *given: object) -> None:
        look(self, *given)  # type: ignore[arg-type]
        most.append({job for job, _ in self.lines})

    monkeypatch.setattr(Survey, "look_at_lines", watched)
    take(log, tmp_path, *_jobs(6))
    assert most == [{f"J{job}"} for job in range(1, 7)]


def test_a_row_of_no_dive_among_another_jobs_rows(log: Log, tmp_path: Path) -> None:
    """A stray row that cannot be placed does not part the job around it: with --keep-good the rest goes in once."""
    rows = _jobs(2)
    stray = cut(job="J9", dive="x", line="L1")
    report = take(log, tmp_path, *rows[:6], stray, *rows[6:], keep_good=tmp_path / "rest.csv")
    assert (report.held, report.added["cut"], report.added["line"]) == (1, 24, 24)
    assert counts(log)["job"] == 2


def test_problems_of_every_job_are_told_at_once(log: Log, tmp_path: Path) -> None:
    """Reading job by job, what is wrong with the first and the last job comes in one message, and nothing went in."""
    rows = _jobs()
    rows[1]["rods"] = "3-4"
    rows[-1]["thickness"] = "12"
    with pytest.raises(RowErrors) as caught:
        take(log, tmp_path, *rows)
    assert [problem.row for problem in caught.value.problems] == [3, 49]
    assert not any(counts(log).values())


def test_lines_that_contradict_each_other_in_one_job(log: Log, tmp_path: Path) -> None:
    """Two planned lengths of one line are named; the same code in another job is another line."""
    rows = _jobs()
    rows[12]["planned_length"] = "4 ft"  # J2's L1 may differ from J1's
    take(log, tmp_path, *rows)
    other = [cut(job="J7", line="L1", planned_length="3 ft"), cut(job="J7", line="L1", planned_length="4 ft")]
    with pytest.raises(RowErrors, match="'4 ft' here and '3 ft' in row 2 for line L1"):
        import_file(log, write(tmp_path / "other.csv", other))


@pytest.mark.parametrize(
    ("order", "in_order", "together", "longest"),
    [("aabb", True, True, 2), ("abab", True, False, 1), ("aaab", True, True, 3)],
)
def test_what_the_survey_says_of_the_order(
    tmp_path: Path, order: str, in_order: bool, together: bool, longest: int
) -> None:
    """The survey says whether dives and jobs stand together, and how long the longest job is."""
    rows = [cut(job=job, dive=str(number)) for number, job in enumerate(order, start=1)]
    table = open_table(write(tmp_path / "sheet.csv", rows))
    found = survey(CutSheet(table), table.rows())
    assert (found.in_order, found.jobs_together, found.longest_job) == (in_order, together, longest)
