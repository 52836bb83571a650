"""Small and odd logs through the command line: an answer or a sentence, clean stderr, the same bytes twice."""

from __future__ import annotations

import csv
import json
import math
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from burnlog.cli.app import main

Runner = Callable[..., subprocess.CompletedProcess[str]]
Row = dict[str, Any]
COLUMNS = (
    *("job", "dive", "row", "record_class", "setting", "dive_date", "diver", "crew", "line", "material", "thickness"),
    *("position", "visibility", "current", "fouling", "planned_length", "family", "rods", "pass", "new_length"),
    *("elapsed", "outcome"),
)
TAKEOFF = "item,quantity,section,thickness,length_each\npiles,4,plate,12.7 mm,1.5 m\nsheets,2,plate,25.4 mm,0.8 m\n"


def rows(count: int = 24, *, jobs: int = 4, divers: int = 3, seed: int = 1) -> list[Row]:
    """An ordinary record in metres: one tally a dive, rods that follow steel and length."""
    rng = np.random.default_rng(seed)
    out = []
    for n in range(count):
        length, thick = round(float(rng.uniform(0.4, 2.5)), 3), float(rng.choice([12.7, 25.4]))
        used = max(1, round(4 * length * thick / 12.7 * math.exp(0.2 * rng.standard_normal())))
        out.append(
            {
                "job": f"J{n % jobs}",
                "dive": n + 1,
                "row": 1,
                "record_class": "production",
                "setting": "open water",
                "dive_date": f"2025-05-{1 + n % 28:02d}",
                "diver": f"D{n % divers}",
                "crew": "AB"[n % 2],
                "line": f"L{n}",
                "material": "carbon steel",
                "thickness": f"{thick} mm",
                "position": "horizontal",
                "visibility": "by feel" if rng.random() < 0.5 else "1-3 ft",
                "planned_length": f"{length} m",
                "family": "exothermic",
                "rods": used,
                "pass": "first",
                "new_length": f"{length} m",
                "elapsed": f"{round(used * 80 * math.exp(0.1 * rng.standard_normal()))} s",
                "outcome": "through",
            }
        )
    return out


def each(record: list[Row], **values: Callable[[int, Row], object] | object) -> list[Row]:
    """The record with some columns set, from the place and the row where a function is given."""
    return [
        {**row, **{name: value(n, row) if callable(value) else value for name, value in values.items()}}
        for n, row in enumerate(record)
    ]


def alike() -> list[Row]:
    """One row over and over, each a dive and a line of its own."""
    return each(rows(1) * 24, dive=lambda n, row: n + 1, line=lambda n, row: f"L{n}")


def luck_only() -> list[Row]:
    """Four jobs without any difference, one steel, one length."""
    rng = np.random.default_rng(4)
    return each(
        rows(40),
        thickness="12.7 mm",
        new_length="1 m",
        planned_length="1 m",
        rods=lambda n, row: max(1, round(6 * math.exp(0.25 * rng.standard_normal()))),
    )


AWKWARD: dict[str, Callable[[], list[Row]]] = {
    "nothing in it": list,
    "two tallies": lambda: rows(2),
    "one job": lambda: rows(jobs=1),
    "a job for each tally": lambda: rows(jobs=24),
    "one diver": lambda: rows(divers=1),
    "divers are the jobs": lambda: each(rows(), diver=lambda n, row: row["job"]),
    "one steel": lambda: each(rows(), thickness="12.7 mm"),
    "no thickness": lambda: each(rows(), thickness=""),
    "rods follow length exactly": lambda: each(
        rows(), new_length=lambda n, row: f"{1 + n % 3} m", planned_length="", thickness="12.7 mm",
        rods=lambda n, row: 4 * (1 + n % 3),
    ),
    "identical rows": lambda: each(alike(), job=lambda n, row: f"J{n % 4}"),
    "conditions that go together": lambda: each(
        rows(),
        visibility=lambda n, row: "by feel" if row["thickness"] == "12.7 mm" else "1-3 ft",
        current=lambda n, row: "none" if row["thickness"] == "12.7 mm" else "strong",
        fouling=lambda n, row: "bare" if row["thickness"] == "12.7 mm" else "hard growth",
    ),
    "no condition at all": lambda: each(rows(), visibility="", position="", family=""),
    "no time": lambda: each(rows(), elapsed=""),
    "no plan": lambda: each(rows(), planned_length=""),
    "no rods counted": lambda: each(rows(), rods=""),
    "nothing severed": lambda: each(rows(), new_length="0 m", outcome="not through"),
    "hundreds of times too many rods": lambda: each(rows(), rods=lambda n, row: 2000 if n == 7 else row["rods"]),
    "a hair and a mile": lambda: each(
        rows(), new_length=lambda n, row: "1 mm" if n % 2 else "200 m", planned_length=""
    ),
    "four jobs without a difference": luck_only,
    "one dive of two tallies": lambda: each(
        rows(12, jobs=5, divers=12),
        dive=lambda n, row: 1 if n == 5 else n + 1,
        row=lambda n, row: 2 if n == 5 else 1,
        **{name: lambda n, row, name=name: "" if n == 5 else row[name] for name in ("dive_date", "diver", "crew")},
    ),
}  # fmt: skip


def write(path: Path, record: list[Row]) -> Path:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, COLUMNS)
        writer.writeheader()
        writer.writerows(record)
    return path


@pytest.fixture
def ask(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> Callable[..., Any]:
    """Run the command in this process, where a warning is an error: exit code, output, and what stderr holds."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")

    def run(*words: str) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["burnlog", "--db", "log.db", *words])
        capfd.readouterr()
        code: object = 0
        try:
            main()
        except SystemExit as done:
            code = done.code
        said = capfd.readouterr()
        return int(code or 0), said.out, said.err  # type: ignore[call-overload]

    return run


@pytest.mark.parametrize("name", list(AWKWARD))
def test_R49_an_awkward_log_ends_in_an_answer_or_a_sentence(
    name: str, tmp_path: Path, ask: Callable[..., Any]
) -> None:
    """`rates` answers where anything was counted, `estimate draft` answers or refuses with 3, both twice alike."""
    write(tmp_path / "cuts.csv", AWKWARD[name]())
    (tmp_path / "takeoff.csv").write_text(TAKEOFF, encoding="utf-8")
    assert ask("init")[0] == 0
    if AWKWARD[name]():
        code, _, err = ask("import", "cuts.csv")
        assert code == 0, err
    planned = ("takeoff.csv", "--bottom-time", "40min", "--start-up", "15min", "--draws", "2000")
    for words in (
        ("rates", "--by", "crew", "--by", "thickness", "--by", "visibility"),
        ("estimate", "draft", *planned),
        ("estimate", "draft", *planned, "--json"),
    ):
        code, out, err = ask(*words)
        counted = name not in ("nothing in it", "no rods counted", "nothing severed")
        assert code in ((0,) if words[0] == "rates" and counted else (0, 3)), (words, err)
        if code == 0:
            assert err == "", words
            assert len(out) > 200, words
        else:
            assert out == "", words
            assert err.startswith("burnlog: "), words
            assert err.rstrip().endswith("."), words
            assert "Traceback" not in err
            assert "Warning" not in err
        assert (out + err).isascii()
        if code == 0 and "--json" in words:
            json.loads(out, parse_constant=pytest.fail)  # NaN and Infinity are no numbers
        assert ask(*words) == (code, out, err), words


def test_an_awkward_log_says_the_same_in_another_process(tmp_path: Path, burnlog: Runner) -> None:
    """Two processes with other hash seeds print the same bytes, with nothing on stderr."""
    write(tmp_path / "cuts.csv", AWKWARD["divers are the jobs"]())
    for words in (("init",), ("import", "cuts.csv")):
        assert burnlog(*words).returncode == 0
    one, two = (burnlog("rates", "--json", env={"PYTHONHASHSEED": seed}) for seed in ("1", "2"))
    assert (one.returncode, one.stderr) == (0, "")
    assert one.stdout == two.stdout


def figures(told: dict[str, Any]) -> list[float]:
    """The numbers of `rates --json` that hang on the record alone."""
    model, time = told["rods"]["model"], told["time"]["model"]
    out = [told["rods"]["ratio_per_m"], told["time"]["s_per_rod"]]
    out += [model["exponent"], model["start_m"], model["sigma"], *model["group_sd"].values(), time["sigma"]]
    return out + sorted(term[key] for term in model["terms"] for key in ("factor", "low", "high"))


def test_feet_or_metres_shuffled_and_renamed_give_the_same_rates(tmp_path: Path, ask: Callable[..., Any]) -> None:
    """The same record in metres, and in feet and inches with rows shuffled and levels renamed: equal to 1e-9."""
    record = each(
        rows(36),
        new_length=lambda n, row: f"{(7 + 5 * n % 31) * 0.0762} m",
        planned_length=lambda n, row: f"{(7 + 5 * n % 31) * 0.0762} m",
    )
    told = []
    for place, sheet in (("metric", record), ("feet", in_feet(record))):
        folder = tmp_path / place
        folder.mkdir()
        path = write(folder / "cuts.csv", sheet)
        db = ("--db", str(folder / "log.db"))
        for words in (("init",), ("import", str(path))):
            assert ask(*db, *words)[0] == 0
        code, out, _ = ask(*db, "rates", "--json")
        assert code == 0
        told.append(json.loads(out))
    one, two = map(figures, told)
    assert len(one) >= 10
    assert two == pytest.approx(one, rel=1e-9)


def in_feet(record: list[Row]) -> list[Row]:
    """The record in inches, rows shuffled, jobs, divers, crews and lines called otherwise."""
    order = np.random.default_rng(3).permutation(len(record))
    said = {"12.7 mm": "1/2 in", "25.4 mm": "1 in"}
    length = {f"{k * 0.0762} m": f"{k * 3} in" for k in range(7, 38)}
    renamed = each(
        [record[n] for n in order],
        thickness=lambda n, row: said[row["thickness"]],
        new_length=lambda n, row: length[row["new_length"]],
        planned_length=lambda n, row: length[row["planned_length"]],
        job=lambda n, row: {"J0": "Z", "J1": "B", "J2": "Y", "J3": "A"}[row["job"]],
        diver=lambda n, row: {"D0": "P9", "D1": "P1", "D2": "P5"}[row["diver"]],
        crew=lambda n, row: {"A": "SECOND", "B": "FIRST"}[row["crew"]],
        line=lambda n, row: f"cut {row['line'][::-1]}",
    )
    return each(renamed, elapsed=lambda n, row: f"{int(row['elapsed'].split()[0]) / 60!r} min")
