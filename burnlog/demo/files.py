"""The files of the scenario, as text: sheets, readings, masters, and a take-off for a job to be bid."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from burnlog.demo.jobs import BANKS, CREWS, JOBS, RIGS, ROD_TYPES, SAMPLE, Job
from burnlog.demo.paper import COLUMNS, READING_COLUMNS, Row, length, reading_rows, sheet_rows
from burnlog.demo.school import CLASS_DAYS, PRACTICE_DAY, TRAINEES, class_rows, practice_rows
from burnlog.demo.work import Dive, dives_of, lines_of

__all__ = ["IMPORT_ORDER", "SEED", "TAKEOFF", "write_scenario", "write_sheets"]

SEED = 20260501
SAMPLE_SHEETS = 8
TAKEOFF = "takeoff.csv"
IMPORT_ORDER = (
    "jobs.csv", "rod_types.csv", "persons.csv", "rigs.csv", "banks.csv", "cuts_2023.csv", "cuts_2024.csv",
    "cuts_2025.csv", "cuts_2026.csv", "lines.csv", "class.csv", "practice.csv", "readings.csv", "rules.csv",
    "prices.csv",
)  # fmt: skip
"""The files to import, masters first; the take-off is read by `estimate`, not imported."""

MADE_UP = "MADE UP for the demonstration"


def write_scenario(folder: Path, *, seed: int = SEED) -> list[Path]:
    """Write the invented contractor's files.

    Parameters
    ----------
    folder : Path
        Made when missing; files of the same names are replaced.
    seed : int
        The same seed writes the same bytes on every machine.

    Returns
    -------
    list of Path
        The files of `IMPORT_ORDER` in that order, then the take-off.
    """
    return _write(folder, _scenario(seed))


def write_sheets(folder: Path, *, seed: int = SEED) -> list[Path]:
    """Write eight small sheets of one more job, one file a sheet, to be typed by hand or imported.

    They stand apart from the scenario: no other file names their job.
    """
    dives = dives_of(SAMPLE, seed)[:SAMPLE_SHEETS]
    rows = sheet_rows(dives, dict(BANKS), seed)
    sheets = {
        f"sheet_{dive.number}.csv": _csv(COLUMNS, [row for row in rows if row["dive"] == str(dive.number)])
        for dive in dives
    }
    return _write(folder, sheets)


def _write(folder: Path, texts: Mapping[str, str]) -> list[Path]:
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for name, text in texts.items():
        path = folder / name
        path.write_text(text, encoding="utf-8", newline="")
        paths.append(path)
    return paths


def _csv(columns: Sequence[str], rows: Iterable[Row | Sequence[str]]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([row[name] for name in columns] if isinstance(row, dict) else row)
    return out.getvalue()


def _scenario(seed: int) -> dict[str, str]:
    """File name -> text, in the order they are imported."""
    banks = dict(BANKS)
    worked = [(job, dives_of(job, seed)) for job in JOBS]
    texts = {"jobs.csv": _jobs(worked), **_masters()}
    for year in ("2023", "2024", "2025", "2026"):
        rows = [row for job, dives in worked if _year(job) == year for row in sheet_rows(dives, banks, seed)]
        texts[f"cuts_{year}.csv"] = _csv(COLUMNS, rows)
    texts["lines.csv"] = _lines_left(*worked[-1], seed)
    texts["class.csv"] = _csv(COLUMNS, class_rows(seed))
    texts["practice.csv"] = _csv(COLUMNS, practice_rows(seed))
    readings = [row for _, dives in worked for row in reading_rows(dives, banks, seed)]
    texts["readings.csv"] = _csv(READING_COLUMNS, readings)
    texts["rules.csv"] = _csv(
        ("rule", "value", "per", "thickness_from", "thickness_to", "family", "source", "made_up"),
        [("office rule, half-inch", "9 in", "rod", "3/8 in", "5/8 in", "exothermic", MADE_UP, "yes")],
    )
    texts["prices.csv"] = _csv(
        ("what", "price", "currency", "per", "source", "made_up"),
        [
            (what, price, "USD", per, MADE_UP, "yes")
            for what, price, per in (("rods", "7.50", "rod"), ("oxygen", "2.10", "kg"), ("dive", "1350", "dive"))
        ],
    )
    texts[TAKEOFF] = _takeoff()
    return texts


def _jobs(worked: Sequence[tuple[Job, Sequence[Dive]]]) -> str:
    """Every job with its title, its water and its dates."""
    columns = (
        "job", "title", "purpose", "record_class", "water", "place", "time_zone", "units_profile", "start_date",
        "end_date", "note", "made_up",
    )  # fmt: skip
    zones = {"us": "America/Chicago", "metric": "Europe/Amsterdam"}
    rows = [
        (job.code, job.title, _purpose(job), "production", job.water, job.place, zones[job.units], job.units,
         dives[0].day.isoformat(), dives[-1].day.isoformat(), MADE_UP, "yes")
        for job, dives in worked
    ]  # fmt: skip
    school = ("training", "fresh", "Tallow Reach yard", zones["us"], "us")
    rows.append(("CLASS26", "Spring class", "training", *school, CLASS_DAYS[0], CLASS_DAYS[-1], MADE_UP, "yes"))
    deck = ("training", "none", "Tallow Reach yard", zones["us"], "us")
    rows.append(("DRYDECK", "Dry practice", "training", *deck, PRACTICE_DAY, PRACTICE_DAY, MADE_UP, "yes"))
    return _csv(columns, rows)


def _lines_left(job: Job, dives: Sequence[Dive], seed: int) -> str:
    """Lines of a job that nobody has begun."""
    begun = {burn.line.code for dive in dives for burn in dive.burns}
    rows = [
        (job.code, line.code, line.steel.section, line.steel.material, line.steel.thickness,
         length(job, line.plan), "computed", "yes")
        for line in lines_of(job, seed) if line.code not in begun
    ]  # fmt: skip
    columns = ("job", "line", "section", "material", "thickness", "planned_length", "length_basis", "made_up")
    return _csv(columns, rows)


def _purpose(job: Job) -> str:
    """What most of a job's lines are."""
    kinds = {"HP": "pile cut-off", "pi": "pile cut-off", "Z ": "sheet-pile cut-off"}
    if "barge" in job.title:
        return "wreck or salvage"
    return kinds.get(job.steel[0].section[:2], "structure removal")


def _year(job: Job) -> str:
    return job.start[:4]


def _masters() -> dict[str, str]:
    people = [(code, "", "diver; tender") for them, _, _ in CREWS.values() for code in them]
    people += [(tender, "", "tender") for _, tender, _ in CREWS.values()]
    people += [(supervisor, "", "supervisor") for _, _, supervisor in CREWS.values()]
    people += [(code, "", "trainee") for code in TRAINEES] + [("IN01", "", "instructor")]
    return {
        "rod_types.csv": _csv(
            ("rod_type", "family", "diameter", "length", "planned_stub", "stub_source", "pack_count", "made_up"),
            [
                (rod.code, rod.family, rod.diameter, rod.length, f"{rod.stub_in:g} in", MADE_UP, str(rod.pack), "yes")
                for rod in ROD_TYPES.values()
            ],
        ),
        "persons.csv": _csv(("person", "name", "roles", "made_up"), [(*person, "yes") for person in people]),
        "rigs.csv": _csv(
            ("rig", "power_kind", "rated_amps", "hose_bore", "hose_length", "source", "made_up"),
            [(rig, "welding set", "400 A", "3/8 in", "200 ft", MADE_UP, "yes") for rig in RIGS],
        ),
        "banks.csv": _csv(
            ("bank", "cylinders", "contents_each", "label_pressure", "label_temp", "route", "made_up"),
            [
                (b.code, str(b.cylinders), f"{b.kg_each:g} kg", b.label, b.temp, b.route, "yes")
                for b in BANKS.values()
            ],
        ),
    }


def _takeoff() -> str:
    """A job to be bid: what PIER12, DOLPH2 and WALL8 had, and some plate."""
    columns = (
        "item", "quantity", "section", "dims", "thickness", "length_each", "position", "depth", "visibility",
        "current", "fouling", "backing", "rod_type", "family", "setting", "diver", "crew", "note",
    )  # fmt: skip
    rows = (
        {"item": "bearing piles", "quantity": "24", "section": "h section",
         "dims": "d=14.21in b=14.885in tw=.805in tf=.805in", "position": "horizontal", "depth": "35 fsw",
         "visibility": "under 1 ft", "rod_type": "EX38", "note": "MADE UP; HP14x117, 3 ft below the mudline"},
        {"item": "pipe piles", "quantity": "6", "section": "pipe", "dims": "od=24in wall=.5in",
         "position": "round a pipe", "depth": "32 fsw", "visibility": "1-3 ft", "current": "light",
         "rod_type": "EX38", "note": "MADE UP"},
        {"item": "sheet wall", "quantity": "40", "section": "z sheet",
         "dims": "w=700mm h=460mm tf=12.2mm tw=12.2mm slope=55.2deg", "position": "horizontal",
         "depth": "8 msw", "rod_type": "EX38", "note": "MADE UP; 40 sheets, 39 interlocks"},
        {"item": "brace plates", "quantity": "10", "section": "plate", "thickness": "3/4 in",
         "length_each": "2 ft 6 in", "depth": "30 fsw", "rod_type": "EX38", "note": "MADE UP"},
    )  # fmt: skip
    return _csv(columns, [{name: row.get(name, "") for name in columns} for row in rows])
