"""The invented scenario: the same bytes every time, every cell readable, and nothing that could not have happened."""

from __future__ import annotations

import csv
import datetime as dt
from collections import Counter, defaultdict
from pathlib import Path

import pytest

from burnlog import demo, units, vocabulary
from burnlog.analyses.attached import left_on
from burnlog.analyses.oxygen_use import oxygen_use
from burnlog.analyses.quality import check
from burnlog.demo.paper import COLUMNS, READING_COLUMNS
from burnlog.store.exchange import import_file
from burnlog.store.frames import load_frames
from burnlog.store.log import Log

SEED = Path(__file__).parent.parent / "seed_data"
CUT_FILES = ("cuts_2023.csv", "cuts_2024.csv", "cuts_2025.csv", "cuts_2026.csv")
KINDS = {
    "depth": "depth", "water_temp": "temperature", "bottom_time": "bottom_time", "work_time": "bottom_time",
    "start_up": "duration", "calls_made": "count", "calls_right": "count", "faults": "count",
    "thickness": "thickness", "planned_length": "length", "rods": "rods", "issued": "count", "returned": "count",
    "rods_lost": "count", "broken_or_wet": "count", "would_not_light": "count", "new_length": "length",
    "start": "clock", "stop": "clock", "elapsed": "elapsed", "burn_time": "burn_time", "hot_time": "burn_time",
    "restarts": "count", "hangers": "count", "set_amps": "current", "delivered_amps": "current",
    "regulator_static": "pressure", "regulator_flowing": "pressure", "bank_start": "pressure",
    "bank_end": "pressure", "read_at": "clock", "after_rod": "count", "bank_pressure": "pressure",
    "static": "pressure", "flowing": "pressure", "temperature": "temperature",
}  # fmt: skip
WORDS = {
    "record_class": "record_class", "setting": "setting", "water": "water", "visibility": "visibility",
    "current": "current", "surge": "surge", "material": "material", "position": "position", "fouling": "fouling",
    "backing": "backing", "closed_space": "closed_space", "family": "family", "pass": "pass_kind",
    "hangers_at": "hangers_at", "power": "power", "edge": "edge", "outcome": "outcome", "reason": "reading_reason",
}  # fmt: skip
LISTS = {"defects": "defect", "events": "event", "technique": "technique", "stoppages": "stoppage"}


def _rows(name: str, folder: Path = SEED) -> list[dict[str, str]]:
    with (folder / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _cuts() -> list[dict[str, str]]:
    return [row for name in CUT_FILES for row in _rows(name)]


def _value(row: dict[str, str], column: str) -> float | None:
    return units.read(row[column], KINDS[column], water=row.get("water") or None).value


def _dives(rows: list[dict[str, str]]) -> dict[tuple[str, str], list[dict[str, str]]]:
    dives = defaultdict(list)
    for row in rows:
        dives[row["job"], row["dive"]].append(row)
    return dives


def test_the_committed_files_are_what_the_seed_writes(tmp_path: Path) -> None:
    """Writing the scenario and the sample sheets anew gives the committed files byte for byte."""
    written = demo.write_scenario(tmp_path) + demo.write_sheets(tmp_path / "sheets")
    assert [path.name for path in written[: len(demo.IMPORT_ORDER)]] == list(demo.IMPORT_ORDER)
    for path in written:
        committed = SEED / path.relative_to(tmp_path)
        assert path.read_bytes() == committed.read_bytes(), path.name
    there = {path.relative_to(SEED) for path in SEED.rglob("*.csv")}
    assert there == {path.relative_to(tmp_path) for path in written}


def test_another_seed_writes_another_history(tmp_path: Path) -> None:
    """The seed decides the history, not only the file names."""
    demo.write_scenario(tmp_path, seed=1)
    assert (tmp_path / "cuts_2024.csv").read_bytes() != (SEED / "cuts_2024.csv").read_bytes()


def test_every_row_says_made_up() -> None:
    """No row of any file but the take-off, whose notes say it, can be taken for field data."""
    names = [*demo.IMPORT_ORDER, *(f"sheets/{path.name}" for path in (SEED / "sheets").iterdir())]
    for name in names:
        rows = _rows(name)
        assert rows
        assert {row["made_up"] for row in rows} == {"yes"}, name


def test_the_headers_are_the_sheet_format() -> None:
    """Sheet and reading files carry the documented columns and no others."""
    for name in (*CUT_FILES, "class.csv", "practice.csv"):
        assert tuple(_rows(name)[0]) == COLUMNS
    assert tuple(_rows("readings.csv")[0]) == READING_COLUMNS


@pytest.mark.parametrize("name", [*CUT_FILES, "class.csv", "practice.csv", "readings.csv"])
def test_every_cell_reads(name: str) -> None:
    """Every measured cell is read by the unit reader and every word by the word lists."""
    for row in _rows(name):
        for column, kind in KINDS.items():
            if column in row:
                units.read(row[column], kind, water=row.get("water") or None)
        for column, words in WORDS.items():
            if column in row:
                vocabulary.match(row[column], words)
        for column, words in LISTS.items():
            for part in filter(None, row.get(column, "").split("; ")):
                word = part.rsplit(" ", 1)[0] if part[-1].isdigit() or part.endswith("min") else part
                assert vocabulary.match(word, words), part


def test_the_scope_of_the_history() -> None:
    """Jobs, crews, divers, dives, cuts, families, notations and blanks are there in the numbers promised."""
    rows = _cuts()
    dives = _dives(rows)
    heads = [rows[0] for rows in dives.values()]
    assert len({row["job"] for row in rows}) >= 12
    years = {row["dive_date"][:4] for row in heads}
    assert years == {"2023", "2024", "2025", "2026"}
    assert len({row["crew"] for row in heads}) == 3
    assert len({row["diver"] for row in heads}) >= 9
    assert len(dives) >= 150
    assert len(rows) >= 800
    families = Counter(row["family"] for row in rows)
    assert min(families["exothermic"], families["tubular"]) > 100
    by_dive = sum(row["rods_scope"] == "dive" for row in heads) / len(heads)
    assert 0.4 < by_dive < 0.6
    assert sum(row["rods"].startswith("~") for row in rows) >= 10
    assert sum(row["rods"].endswith("+") for row in rows) >= 3
    assert sum(" + " in row["rods"] for row in rows) >= 15
    passes = Counter(row["pass"] for row in rows)
    assert min(passes["re-burn"], passes["hanger"]) >= 30
    assert Counter(row["outcome"] for row in rows)["abandoned"] >= 5
    jobs_of = {crew: {row["job"] for row in heads if row["crew"] == crew} for crew in ("RED", "GREY", "BLUE")}
    assert jobs_of["RED"] & jobs_of["GREY"]
    assert jobs_of["GREY"] & jobs_of["BLUE"]
    assert jobs_of["RED"] & jobs_of["BLUE"]
    assert any(len(jobs) < 14 for jobs in jobs_of.values())
    for column in ("thickness", "start", "rods", "hangers", "bank_start", "depth", "visibility", "edge"):
        assert any(not row[column] for row in (heads if column in ("bank_start", "depth", "visibility") else rows))


def test_times_nest_and_clocks_run_forward() -> None:
    """Burn within elapsed, elapsed within work, work within bottom time, and no cut before the last one stopped."""
    for (job, dive), rows in _dives(_cuts()).items():
        bottom, work = _value(rows[0], "bottom_time"), _value(rows[0], "work_time")
        total, before = 0.0, 0.0
        for row in rows:
            start, stop = _value(row, "start"), _value(row, "stop")
            elapsed = _value(row, "elapsed") if start is None or stop is None else stop - start
            if start is not None and stop is not None:
                assert before <= start < stop, (job, dive, row["row"])
                before = stop
            if elapsed is not None:
                total += elapsed
                burn, hot = _value(row, "burn_time"), _value(row, "hot_time")
                assert burn is None or burn <= elapsed
                assert hot is None or hot <= elapsed
        assert work is None or total <= work
        assert work is None or bottom is None or work <= bottom
        assert bottom is None or total <= bottom


def test_rods_take_time_and_oxygen() -> None:
    """A rod takes more than 20 s and more than 3 scf of oxygen wherever both ends were written down."""
    banks = {row["bank"]: row for row in _rows("banks.csv")}
    changed = {(row["job"], row["dive"]) for row in _rows("readings.csv") if row["reason"] == "change-over"}
    judged = 0
    for (job, dive), rows in _dives(_cuts()).items():
        scale = 10 if job == "PIER14" and any(row["rods"] == "70" for row in rows) else 1
        rods = [_value(row, "rods") for row in rows]
        counted = [number for number in rods if number is not None]
        for row, number in zip(rows, rods, strict=True):
            start, stop = _value(row, "start"), _value(row, "stop")
            if number and start is not None and stop is not None and not row["rods_scope"] and scale == 1:
                single = rows[0]["rods_scope"] != "dive"
                assert not single or (stop - start) / number > 20, (job, dive)
        whole = rows[0]["rods_scope"] == "dive" or len(counted) == len(rows)
        start_kpa, end_kpa = _value(rows[0], "bank_start"), _value(rows[-1], "bank_end")
        alone = job != "JETTY5"  # there two torches drew on one bank
        if whole and counted and start_kpa and end_kpa and (job, dive) not in changed and alone and scale == 1:
            bank = banks[rows[0]["bank"]]
            full = float(bank["contents_each"].split()[0]) * int(bank["cylinders"])
            label = units.read(bank["label_pressure"], "pressure").value
            assert label is not None
            kg = full * (start_kpa - end_kpa) / label
            if len(counted) and sum(counted) >= 5:
                judged += 1
                assert kg / 0.037552 / sum(counted) > 3, (job, dive)  # 1 scf (70 F, 1 atm) = 0.037552 kg
    assert judged > 50


def test_no_line_is_cut_longer_than_planned() -> None:
    """New length adds up to no more than the plan, only first passes make any, and a line has one thickness."""
    done: dict[tuple[str, str], float] = defaultdict(float)
    plan: dict[tuple[str, str], float] = {}
    thick: dict[tuple[str, str], set[str]] = defaultdict(set)
    for row in _cuts():
        key = (row["job"], row["line"])
        length, planned = _value(row, "new_length"), _value(row, "planned_length")
        assert row["pass"] == "first" or length is None
        done[key] += length or 0.0
        if planned is not None:
            plan[key] = planned
        thick[key].add(row["thickness"])
    assert all(done[key] <= plan[key] + 0.05 for key in plan)
    assert all(len(found) == 1 for found in thick.values())


def test_three_dives_sag_and_no_other() -> None:
    """Static minus flowing grows by 15 psi or more in the three named dives; their rigs have 10 other readings."""
    drops: dict[tuple[str, str], list[float]] = defaultdict(list)
    base: dict[str, int] = defaultdict(int)
    rig_of: dict[tuple[str, str], str] = {}
    for row in _rows("readings.csv"):
        static, flowing = _value(row, "static"), _value(row, "flowing")
        if static is None or flowing is None:
            continue
        key = (row["job"], row["dive"])
        rig_of[key] = row["rig"]
        drops[key].append((static - flowing) / 6.894757)
        base[row["rig"]] += row["reason"] != "series"
    falling = {key for key, series in drops.items() if max(series) - min(series) > 15}
    assert falling == {(job, str(dive)) for job, dive in demo.SAG.items()}
    assert all(base[rig_of[key]] >= 10 for key in falling)
    rows = _dives(_cuts())
    for key in falling:
        edges = [row["edge"] for row in rows[key]]
        assert edges.count("ragged") >= 1, key


def test_exactly_two_slips_of_the_pen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Written without slips, the files differ from the committed ones in two cells: a ten-fold count and a length."""
    for job in list(demo.SLIPS):
        monkeypatch.delitem(demo.SLIPS, job)
    demo.write_scenario(tmp_path)
    changed = []
    for name in CUT_FILES:
        for clean, slipped in zip(_rows(name, tmp_path), _rows(name), strict=True):
            changed += [(slipped["job"], c, clean[c], slipped[c]) for c in COLUMNS if clean[c] != slipped[c]]
    assert len(changed) == 2
    (_, first, was, now), (_, second, length, slip) = sorted(changed, key=lambda c: c[1], reverse=True)
    assert (first, int(now)) == ("rods", 10 * int(was))
    assert second == "new_length"
    feet = units.read(length, "length").value
    assert feet is not None
    assert feet > 10 * (units.read(slip, "length").value or 0)


def test_the_class_and_the_practice_stand_apart() -> None:
    """Twelve trainees with four attempts in the tank, and dry practice without depth, none of it production."""
    rows = _rows("class.csv")
    assert Counter(Counter(row["diver"] for row in rows).values()) == {4: 12}
    assert {(row["setting"], row["record_class"]) for row in rows} == {("test tank", "training")}
    assert all(int(row["calls_right"]) <= int(row["calls_made"]) for row in rows)
    assert any(row["faults"] != "0" for row in rows)
    practice = _rows("practice.csv")
    assert {row["setting"] for row in practice} == {"dry practice"}
    assert not any(row["depth"] for row in practice)


def test_the_last_job_is_not_done() -> None:
    """DOLPH5 has lines nobody has begun, with a planned length each."""
    begun = {row["line"] for row in _rows("cuts_2026.csv")}
    waiting = _rows("lines.csv")
    assert len(waiting) >= 3
    assert not begun & {row["line"] for row in waiting}
    assert all((units.read(row["planned_length"], "length").value or 0) > 0 for row in waiting)


def test_the_sample_sheets_are_small() -> None:
    """Eight sheets of one dive with six to ten rows each, of a job no other file names."""
    paths = sorted((SEED / "sheets").iterdir())
    assert len(paths) == 8
    for path in paths:
        rows = _rows(path.name, SEED / "sheets")
        assert 6 <= len(rows) <= 10
        assert len({(row["job"], row["dive"]) for row in rows}) == 1
        assert rows[0]["job"] not in {row["job"] for row in _cuts()}


def test_the_sample_sheets_import_one_by_one(tmp_path: Path) -> None:
    """Each of the eight sheets is taken in by itself, masters and all, with every row."""
    now = dt.datetime(2026, 5, 1, 12, tzinfo=dt.UTC)
    with Log.create(tmp_path / "log.db", by="T", now=lambda: now, made_up=True) as log:
        reports = [import_file(log, path) for path in sorted((SEED / "sheets").iterdir())]
        frames = load_frames(log)
    assert [report.added["cut"] for report in reports] == [report.rows for report in reports]
    assert len(frames.dives) == 8
    assert frames.cuts["made_up"].all()


def test_the_bid_lies_inside_the_history() -> None:
    """Each item of the take-off has its thickness and position in the exothermic history of several jobs."""
    history = defaultdict(set)
    for row in _cuts():
        if row["family"] == "exothermic" and row["thickness"]:
            history[row["position"]].add((row["thickness"], row["job"]))
    assert len({job for _, job in history["round a pipe"]}) >= 3
    assert {"13/16 in", "12 mm"} <= {thickness for thickness, _ in history["horizontal"]}
    items = _rows(demo.TAKEOFF)
    assert [row["quantity"] for row in items][:3] == ["24", "6", "40"]
    assert all("MADE UP" in row["note"] for row in items)


def test_the_files_import_and_the_record_shows_what_was_put_in(tmp_path: Path) -> None:
    """Every file is taken in whole, twice adds nothing, and the slips and open lines show in check and left."""

    def now() -> dt.datetime:
        return dt.datetime(2026, 5, 1, 12, tzinfo=dt.UTC)

    with Log.create(tmp_path / "log.db", by="T", now=now, made_up=True) as log:
        reports = [import_file(log, SEED / name) for name in demo.IMPORT_ORDER]
        again = [import_file(log, SEED / name) for name in demo.IMPORT_ORDER]
        frames = load_frames(log)
    assert sum(report.added.get("cut", 0) for report in reports) == len(frames.cuts)
    assert not any(sum(report.added.values()) for report in again)
    report = check(frames)
    worst = [p for p in report.problems if p.job == "PIER14" and p.rule == "rods do not balance"]
    assert "rods more than issued" in worst[0].message
    assert {problem.rule for problem in report.problems} == {
        "rods do not balance",
        "no reference to the legal log",
        "through but short of plan",
    }
    states = {line.line: line.state for line in left_on(frames, "DOLPH5").lines}
    (slipped,) = [row["line"] for row in _rows("cuts_2026.csv") if row["new_length"] == "6.3 in"]
    assert states[slipped] == "not known"
    assert "planned" in states.values()
    oxygen = oxygen_use(frames)
    assert oxygen.faults == ()
    assert any(use.shared_with for use in oxygen.dives if use.job == "JETTY5")
    assert len(oxygen.per_rod()) > 60
