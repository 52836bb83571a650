"""From what happened to what somebody wrote down: notation, whole minutes, whole rods, and a great many blanks.

The share of blanks follows what is usually on a sheet and what seldom is. Two slips of the pen are put in on
purpose (`SLIPS`), and nowhere else.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from burnlog.demo.jobs import CREWS, RIGS, ROD_TYPES, Bank, Job
from burnlog.demo.luck import Luck
from burnlog.demo.work import Burn, Dive, GaugeReading

__all__ = ["COLUMNS", "READING_COLUMNS", "SLIPS", "Row", "clock", "reading_rows", "sheet_rows"]

Row = dict[str, str]

COLUMNS = (
    "job", "dive", "row", "sheet", "record_class", "setting", "water", "dive_date", "diver", "crew", "tender",
    "supervisor", "rig", "bank", "depth", "visibility", "current", "surge", "water_temp", "bottom_time",
    "work_time", "start_up", "log_ref", "calls_made", "calls_right", "faults", "line", "section", "material",
    "thickness", "position", "fouling", "backing", "closed_space", "planned_length", "rod_type", "family",
    "rod_length", "lot", "rods", "rods_scope", "issued", "returned", "rods_lost", "broken_or_wet",
    "would_not_light", "pass", "new_length", "start", "stop", "elapsed", "burn_time", "hot_time", "stoppages",
    "restarts", "hangers", "hangers_at", "power", "set_amps", "delivered_amps", "regulator_static",
    "regulator_flowing", "bank_start", "bank_end", "edge", "outcome", "defects", "events", "technique", "remark",
    "made_up",
)  # fmt: skip
"""Columns of a cut sheet file, in sheet order."""

READING_COLUMNS = (
    "job", "dive", "rig", "bank", "read_at", "after_rod", "bank_pressure", "static", "flowing", "temperature",
    "gauge", "reason", "made_up",
)  # fmt: skip

SLIPS = {"PIER14": "ten-fold rods", "DOLPH5": "feet written as inches"}
"""Job -> the one slip of the pen in it."""

REMARKS = (
    "she's not blowing through", "kelp in the way", "silt up after the first rod", "clamp slipped once",
    "good bright burn", "hung up on the back side", "waited for the crane hook", "old weld on the line",
    "crept along by feel", "",
)  # fmt: skip


def clock(minute: int) -> str:
    """Minutes after midnight as people write them: 0942."""
    return f"{minute // 60:02d}{minute % 60:02d}"


def length(job: Job, steps: int) -> str:
    """A length as the job's people write it."""
    if job.units == "metric":
        return f"{steps / 1000:g} m" if steps >= 1000 and steps % 10 == 0 else f"{steps} mm"
    feet, eighths = divmod(steps, 96)
    inches = _inches(eighths)
    if not feet:
        return f"{inches} in"
    return f"{feet} ft {inches} in" if eighths else f"{feet} ft"


def _inches(eighths: int) -> str:
    whole, part = divmod(eighths, 8)
    if not part:
        return str(whole)
    common = math.gcd(part, 8)
    fraction = f"{part // common}/{8 // common}"
    return f"{whole}-{fraction}" if whole else fraction


def _pressure(job: Job, psi: float) -> str:
    return f"{psi:.0f} psi" if job.units == "us" else f"{psi / 14.5038:.1f} bar"


def _bank_pressure(bank_unit: str, psi: float) -> str:
    return f"{round(psi / 10) * 10} psi" if bank_unit == "psi" else f"{psi / 14.5038:.0f} bar"


def sheet_rows(dives: Sequence[Dive], banks: dict[str, Bank], seed: int) -> list[Row]:
    """The cut sheet rows of a job, in order."""
    rows = [row for dive in dives for row in _Sheet(dive, banks, seed).rows()]
    slip = SLIPS.get(dives[0].job.code) if dives else None
    if slip == "ten-fold rods":
        row = next(r for r in rows if r["rods_scope"] == "" and r["pass"] == "first" and r["rods"] in ("5", "6", "7"))
        row["rods"] += "0"
    elif slip:
        row = next(
            r for r in rows
            if r["new_length"] == r["planned_length"] == "6 ft 3-3/8 in" and r["outcome"] == "through"
        )  # fmt: skip
        row["new_length"] = "6.3 in"
    return rows


class _Sheet:
    """One dive's sheet being written."""

    def __init__(self, dive: Dive, banks: dict[str, Bank], seed: int) -> None:
        self.dive, self.job = dive, dive.job
        self.pen = Luck(seed, dive.job.code, dive.number, "paper")
        self.bank = banks[dive.bank]
        self.by_dive = self.pen.chance(dive.job.by_dive)

    def rows(self) -> list[Row]:
        """One row a cut; what belongs to the dive stands on the first."""
        pen, dive = self.pen, self.dive
        clocks = pen.chance(0.9)
        rows: list[Row] = []
        for number, burn in enumerate(dive.burns, 1):
            row = dict.fromkeys(COLUMNS, "")
            row.update(job=self.job.code, dive=str(dive.number), row=str(number), made_up="yes")
            row.update(self._steel(burn), **self._cut(burn, clocks))
            rows.append(row)
        rows[0].update(self._head())
        rows[0].update(self._box())
        if pen.chance(0.8):
            rows[0]["bank_start"] = _bank_pressure(self.bank.unit, dive.bank_start)
            if pen.chance(0.93):
                rows[-1]["bank_end"] = _bank_pressure(self.bank.unit, dive.bank_end)
        if dive.change_over is not None:
            cut = max(i for i, burn in enumerate(dive.burns) if burn.start <= dive.change_over[0])
            rows[cut]["events"] = "bank change-over"
        elif pen.chance(0.07):
            event = pen.pick(("pop or bang", "voice lost", "blow-back", "clamp moved", "shock or tingle"))
            pen.pick(rows)["events"] = event
        return rows

    def _often(self, share: float, text: str) -> str:
        return text if self.pen.chance(share) else ""

    def _head(self) -> Row:
        dive, job, often = self.dive, self.job, self._often
        _, tender, supervisor = CREWS[dive.crew]
        fsw = f"{dive.depth * 3.26339:.0f} fsw"
        return {
            "sheet": f"{job.code}-{dive.number:04d}",
            "record_class": "production",
            "setting": "open water",
            "water": job.water,
            "dive_date": dive.day.isoformat(),
            "diver": dive.diver,
            "crew": dive.crew,
            "tender": often(0.9, tender),
            "supervisor": often(0.9, supervisor),
            "rig": dive.rig,
            "bank": dive.bank,
            "depth": often(0.92, fsw if job.units == "us" else f"{dive.depth:.1f} msw"),
            "visibility": often(0.86, dive.visibility),
            "current": often(0.65, dive.current),
            "surge": often(0.4, dive.surge),
            "water_temp": often(0.3, f"{50 + self.pen.whole(0, 9)} F" if job.units == "us" else "11 C"),
            "bottom_time": often(0.93, f"{dive.bottom // 60}:{dive.bottom % 60:02d}"),
            "work_time": often(0.4, f"{dive.bottom - 3} min"),
            "start_up": often(0.3, f"{dive.start_up} min"),
            "log_ref": often(0.95, f"log {dive.day.year % 100} p.{dive.number + 10}"),
        }

    def _box(self) -> Row:
        """What went out of the box and came back."""
        pen, started = self.pen, self.dive.started
        lost, broken = self.pen.weighted(((0, 8), (1, 2), (2, 1))), int(pen.chance(0.15))
        astray = pen.whole(1, 3) if pen.chance(0.08) else 0
        out = started + lost + broken + astray
        issued = (out // 5 + 1 + pen.whole(0, 1)) * 5
        row: Row = {}
        if pen.chance(0.75):
            row["issued"] = str(issued)
            row["returned"] = self._often(0.95, str(issued - out))
        row["rods_lost"] = self._often(0.6, str(lost))
        row["broken_or_wet"] = self._often(0.55, str(broken))
        row["would_not_light"] = self._often(0.2, str(int(pen.chance(0.2))))
        if self.by_dive:
            row["rods_scope"] = "dive"
            row["rods"] = self._count(started, blank=0.04)
        return row

    def _count(self, rods: int, *, blank: float) -> str:
        """A number of rods: mostly plain, sometimes about, at least, or nothing."""
        place = self.pen.unit()
        if place < blank:
            return ""
        if place < blank + 0.08:
            return f"~{max(1, rods + self.pen.whole(-1, 1))}"
        if place < blank + 0.10 and rods > 2:
            return f"{rods - 1}+"
        return str(rods)

    def _steel(self, burn: Burn) -> Row:
        line, steel = burn.line, burn.line.steel
        quiet = Luck(self.job.code, line.code, "known")  # the same blanks on every row of a line
        return {
            "line": line.code,
            "section": steel.section,
            "material": steel.material if quiet.chance(0.985) else "",
            "thickness": steel.thickness if quiet.chance(0.98) else "",
            "position": line.position if quiet.chance(0.95) else "",
            "fouling": line.fouling if quiet.chance(0.72) else "",
            "backing": line.backing if quiet.chance(0.45) else "",
            "closed_space": steel.closed if quiet.chance(0.6) else "",
            "planned_length": length(self.job, line.plan) if quiet.chance(0.93) else "",
        }

    def _cut(self, burn: Burn, clocks: bool) -> Row:
        pen, often = self.pen, self._often
        rod = ROD_TYPES[self.dive.rod_type]
        written = clocks and pen.chance(0.95)
        row = {
            "rod_type": rod.code,
            "family": rod.family,
            "lot": often(0.06, f"L{self.dive.day.year % 100}-{self.dive.number % 4 + 1}"),
            "pass": burn.pass_kind,
            "start": clock(burn.start) if written else "",
            "stop": clock(burn.start + burn.minutes) if written else "",
            "elapsed": "" if written else often(0.25, f"{burn.minutes} min"),
            "burn_time": often(0.05, f"{burn.burn_s // 60}:{burn.burn_s % 60:02d}"),
            "stoppages": "; ".join(f"{why} {minutes}min" for why, minutes in burn.stoppages),
            "restarts": often(0.5, str(burn.restarts)),
            "hangers": often(0.6, str(burn.hangers)),
            "power": often(0.42, "on" if rod.family == "tubular" else pen.pick(("on", "on", "off", "mixed"))),
            "set_amps": often(0.8, f"{140 + 10 * pen.whole(0, 6) if rod.family == 'exothermic' else 320} A"),
            "delivered_amps": often(0.1, f"{130 + pen.whole(0, 50) if rod.family == 'exothermic' else 300} A"),
            "edge": burn.edge
            if pen.chance(0.68) or self.dive.sag_from is not None
            else pen.pick(("", "", "not seen")),
            "outcome": burn.outcome,
            "remark": often(0.09, pen.pick(REMARKS)),
        }
        if not self.dive.readings and pen.chance(0.3):  # nobody kept the gauge list, but somebody looked
            usual, grain = RIGS[self.dive.rig]
            fall = round((usual + pen.normal(1.6)) / grain) * grain
            row["regulator_static"] = _pressure(self.job, self.job.static)
            row["regulator_flowing"] = _pressure(self.job, self.job.static - fall)
        if row["burn_time"] and rod.family == "exothermic" and pen.chance(0.4):
            hot = int(burn.burn_s * 0.7)
            row["hot_time"] = f"{hot // 60}:{hot % 60:02d}"
        if burn.hangers:
            row["hangers_at"] = often(
                0.5, pen.pick(("at a rod change", "at a rod change", "at a rod change", "at the end", "mid-line"))
            )
            row["defects"] = often(0.6, "hanger left")
        elif burn.edge == "ragged":
            row["defects"] = often(0.5, pen.pick(("clogged kerf", "clogged kerf; rod stuck", "wandered off line")))
        elif pen.chance(0.05):
            row["defects"] = pen.pick(("rod stuck x2", "arc lost", "rod would not light", "gouge or wide kerf"))
        if burn.pass_kind == "first":
            row["new_length"] = self._new_length(burn)
        if not self.by_dive:
            row["rods"] = self._stubs(burn) or self._count(burn.started, blank=0.05)
        return row

    def _new_length(self, burn: Burn) -> str:
        if self.pen.chance(0.02):
            return ""
        text = length(self.job, burn.steps)
        return f"~{text}" if burn.outcome in ("part way", "abandoned") and self.pen.chance(0.3) else text

    def _stubs(self, burn: Burn) -> str:
        """Full rods and the stub of the last one, where somebody measured it."""
        rod = ROD_TYPES[self.dive.rod_type]
        full = burn.started - 1
        if full < 1 or not self.pen.chance(0.12):
            return ""
        part = min(max(burn.rods - full, 0.3), 0.95)
        stub = round(rod.stub_in + (1 - part) * (rod.length_in - rod.stub_in))
        return f"{full} + {stub}in"


def reading_rows(dives: Sequence[Dive], banks: dict[str, Bank], seed: int) -> list[Row]:
    """The rows of the readings file, in order."""
    rows: list[Row] = []
    for dive in dives:
        pen = Luck(seed, dive.job.code, dive.number, "gauge")
        rows.extend(_reading(dive, reading, banks[dive.bank], pen) for reading in dive.readings)
    return rows


def _reading(dive: Dive, reading: GaugeReading, bank: Bank, pen: Luck) -> Row:
    row = dict.fromkeys(READING_COLUMNS, "")
    row.update(
        job=dive.job.code,
        dive=str(dive.number),
        rig=dive.rig,
        bank=dive.bank,
        read_at=clock(reading.minute),
        after_rod="" if reading.after_rod is None else str(reading.after_rod),
        reason=reading.reason,
        gauge=f"G{dive.rig[-1]}",
        made_up="yes",
    )
    if reading.bank is not None:
        row["bank_pressure"] = _bank_pressure(bank.unit, reading.bank)
    if reading.static is not None:
        row["static"] = _pressure(dive.job, reading.static)
    if reading.flowing is not None:
        row["flowing"] = _pressure(dive.job, reading.flowing)
    if reading.reason == "start" and pen.chance(0.4):
        row["temperature"] = f"{pen.whole(40, 66)} F" if dive.job.units == "us" else f"{pen.whole(5, 19)} C"
    return row
