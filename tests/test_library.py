"""The public names of the package, and what they accept."""

from __future__ import annotations

import datetime as dt
import inspect
import pkgutil
import re
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

import burnlog
from burnlog import library
from burnlog.analyses.invented import history
from burnlog.analyses.scope import Scope
from burnlog.errors import FileError, InputError, ReadError, RefusedError, RowErrors
from burnlog.library import bids, learning, record, showing
from burnlog.store.log import Log


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[burnlog.OpenLog]:
    """A log with nothing in it."""
    path = tmp_path / "empty.db"
    Log.create(path, by="test", now=lambda: dt.datetime(2026, 1, 1, tzinfo=dt.UTC)).close()
    with burnlog.open_log(path) as record:
        yield record


def test_the_public_names_are_sorted_and_complete() -> None:
    """`__all__` is in order, and every public function or class of `library` that takes or gives a log is in it."""
    assert burnlog.__all__ == sorted(burnlog.__all__)
    inner = {"frames_of", "scoped", "own_sections", "read_takeoff_file"}  # what `cli` and the siblings use
    offered = {name for module in (bids, learning, record, showing) for name in module.__all__}
    assert offered - inner == set(burnlog.__all__)


@pytest.mark.parametrize("name", burnlog.__all__)
def test_each_public_name_is_documented_with_an_example(name: str) -> None:
    """A public name says what it does, what it takes, and shows itself at work; the examples run as doctests."""
    it = getattr(burnlog, name)
    text = inspect.getdoc(it) or ""
    assert len(text.partition("\n")[0]) > 20
    assert ">>> from burnlog import " in text
    if inspect.isfunction(it):
        assert f"{name}(" in text.partition(">>> ")[2]
        own = [each for each in inspect.signature(it).parameters if each not in ("record", "scope", "filters")]
        said = text.partition("Parameters")[2]
        assert [each for each in own if each not in said] == [] or len(own) == 1


def test_public_names_hide_no_module() -> None:
    """No public name is also a folder of the package: importing the folder would replace the function."""
    folders = {module.name for module in pkgutil.iter_modules(burnlog.__path__)}
    assert folders & set(burnlog.__all__) == set()


def test_the_library_never_needs_the_command_line() -> None:
    """Reading a take-off, bidding and showing leave typer and every module of `cli` unloaded."""
    modules = [path.read_text(encoding="utf-8") for path in Path(library.__file__).parent.glob("*.py")]
    assert modules
    assert not [text for text in modules if "burnlog.cli" in text]


@pytest.mark.slow
def test_the_readme_s_python_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The README's lines of Python, as written, on the demo: a review, a chart as a file, a bid as numbers."""
    text = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")
    (block,) = re.findall(r"^```python\n(.*?)^```", text, re.MULTILINE | re.DOTALL)
    monkeypatch.chdir(tmp_path)
    burnlog.make_demo("demo").close()
    exec(compile(block, "README.md", "exec"), {})
    said = capsys.readouterr().out
    assert "Rods by crew, against the others on equal steel" in said
    assert "'p50': " in said
    assert (tmp_path / "crews.svg").read_text(encoding="utf-8").startswith("<svg")


def test_importing_the_package_loads_no_heavy_library() -> None:
    """`import burnlog` leaves pandas, numpy, scipy, statsmodels, altair and typer alone."""
    code = (
        "import sys, burnlog; "
        "print([m for m in ('pandas', 'numpy', 'scipy', 'statsmodels', 'altair', 'typer') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_an_empty_log_has_frames_and_no_model(empty: burnlog.OpenLog) -> None:
    """Frames are read once; without tallies a fit is refused with a sentence."""
    assert empty.frames() is empty.frames()
    assert len(empty.cuts()) == len(empty.tallies()) == 0
    with pytest.raises(RefusedError, match="tall"):
        burnlog.fit_rates(empty)


def test_a_missing_log_is_said(tmp_path: Path) -> None:
    """A path where nothing stands is a file error that names it."""
    with pytest.raises(FileError, match=r"none\.db"):
        burnlog.open_log(tmp_path / "none.db")


def test_an_open_log_cannot_be_written_through(empty: burnlog.OpenLog) -> None:
    """The library opens for reading: a statement that writes fails, whatever it says."""
    with pytest.raises(sqlite3.OperationalError, match="readonly"):
        empty._log.connection.execute("CREATE TABLE intruder (x)")


def test_filters_are_fields_of_the_scope(empty: burnlog.OpenLog) -> None:
    """A keyword replaces one field, a single code stands for a tuple, and an unknown keyword is named."""
    frames = history(jobs=3, rng=np.random.default_rng(5)).frames
    job, divers = frames.jobs["job"].iloc[0], sorted(frames.dives["diver"].unique())[:2]
    found, scope = record.scoped(frames, None, {"jobs": job, "divers": divers})
    assert found is frames
    assert scope == Scope(jobs=(job,), divers=tuple(divers))
    _, scope = record.scoped(frames, Scope(setting="test tank"), {"family": "tubular"})
    assert scope == Scope("test tank", family="tubular")
    with pytest.raises(InputError, match="no filter crew; the filters are setting"):
        burnlog.rates(empty, crew="RED")


def test_a_code_that_nobody_has_is_no_empty_record() -> None:
    """A slip in a job's code is refused with the nearest, where it would read as `no odd burns`."""
    frames = history(jobs=3, rng=np.random.default_rng(5)).frames
    job = str(frames.jobs["job"].iloc[0])
    with pytest.raises(InputError, match=f"no job '{job}X'; the nearest are .*{job}"):
        burnlog.flags(frames, jobs=f"{job}X")


def test_frames_do_as_well_as_a_log() -> None:
    """Frames made in memory give the ratio that the sums give: all rods used over all new length used."""
    frames = history(jobs=3, rng=np.random.default_rng(5)).frames
    learned = burnlog.rates(frames, by="job")
    fit = burnlog.fit_rates(frames)
    used = fit.tallyset.tallies
    assert learned.ratio.rods_per_m == pytest.approx(used["rods"].sum() / used["new_length_m"].sum(), rel=1e-12)
    assert {group.group for group in learned.by} == {"job"}


def test_a_log_is_made_from_files_or_not_at_all(tmp_path: Path) -> None:
    """Good files make a log that opens; a bad cell is named, and a log that exists is never made anew."""
    sheet = tmp_path / "sheet.csv"
    head = "job,dive,dive_date,diver,material,thickness,rod_type,family,rods,new_length,outcome,made_up\n"
    row = "PIER,1,2026-06-01,D01,carbon steel,1/2 in,EX38,exothermic,7,3 ft,through,yes\n"
    sheet.write_text(head + row)
    with burnlog.make_log(tmp_path / "good.db", [sheet], by="JM", made_up=True) as made:
        assert made.made_up
        assert made.cuts()["new_length_m"].tolist() == [pytest.approx(0.9144, abs=1e-9)]
    with pytest.raises(FileError, match=r"good\.db"):
        burnlog.make_log(tmp_path / "good.db", [sheet], by="JM", made_up=True)
    sheet.write_text(head + row.replace("1/2 in", "12"))
    with pytest.raises(RowErrors, match="no unit"):
        burnlog.make_log(tmp_path / "bad.db", [sheet], by="JM", made_up=True)


def test_a_plan_is_read_as_people_write_it() -> None:
    """Times are text with a unit, one diver stands for a tuple, and what has two readings is refused."""
    planned = burnlog.plan(bottom_time="0:40", start_up="15 min", divers="D01", seed=7)
    assert (planned.bottom_time_s, planned.start_up_s) == (2400.0, 900.0)
    assert (planned.divers, planned.seed) == (("D01",), 7)
    assert burnlog.plan().bottom_time_s is None
    with pytest.raises(ReadError):
        burnlog.plan(bottom_time="about forty")


def test_an_invented_record_repeats_and_can_be_whole() -> None:
    """The same seed gives the same record, another seed another; without blanks every condition is written down."""
    one, same, other = (burnlog.invent(4, seed=seed, blanks=False) for seed in (5, 5, 6))
    assert one.took_rods == same.took_rods != other.took_rods
    assert one.frames.cuts.equals(same.frames.cuts)
    assert one.frames.cuts[["position", "fouling", "new_length_m"]].notna().all(axis=None)
    assert burnlog.invent(4, seed=5).frames.cuts["position"].isna().any()
    assert (one.next_job["length_m"] > 0).all()


def test_results_are_shown_as_the_commands_print_them() -> None:
    """Text, and charts under their findings, for a result; something else is refused by name."""
    frames = history(jobs=4, rng=np.random.default_rng(5)).frames
    tried = burnlog.backtest(frames, draws=300)
    assert f"{len(tried.rows)} jobs, each forecast from all other jobs" in burnlog.text(tried)
    drawn = burnlog.draw(tried)
    assert list(drawn) == ["jobs", "held"]
    inside = sum(row.p10 <= row.actual_rods <= row.p90 for row in tried.rows)
    title = " ".join(drawn["jobs"].to_dict()["title"]["text"])
    assert f"{inside} of {len(tried.rows)} lay inside the 80 % range" in title
    for shown in (burnlog.text, burnlog.draw):
        with pytest.raises(InputError, match="for a int"):
            shown(3)
    assert "licensed supervisor" in " ".join(burnlog.cautions("estimate").split())


def test_the_backtest_chart_shows_each_job_where_it_lay() -> None:
    """One row a job in order; a mark is inside exactly where the actual rods lie between P10 and P90."""
    frames = history(jobs=5, rng=np.random.default_rng(11)).frames
    tried = burnlog.backtest(frames, draws=300)
    spec = burnlog.draw(tried)["jobs"].to_dict()
    (rows,) = [data for data in spec["datasets"].values() if "where" in data[0]]
    assert [row["job"].split(" ")[0] for row in rows] == [row.job for row in tried.rows]
    assert [row["where"] == "inside" for row in rows] == [row.p10 <= row.actual_rods <= row.p90 for row in tried.rows]
    outside = [row.job for row in tried.rows if not row.p10 <= row.actual_rods <= row.p90]
    assert ("outside: " + ", ".join(outside) in spec["description"]) == bool(outside)
