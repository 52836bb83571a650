"""What the invented crews did: dives that end by the clock, lines cut over several of them, luck on every level.

rods = (length + a start for each line) x rate x thickness x conditions x job x diver x luck, rounded to whole
rods. Every constant here is INVENTED: it makes a history with a known truth, and says nothing about real steel.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from burnlog.demo.jobs import BANKS, CREWS, RIGS, ROD_TYPES, Job, Steel
from burnlog.demo.luck import Luck

__all__ = ["Burn", "Dive", "GaugeReading", "Line", "dives_of", "lines_of"]

START_M = 0.10
SD_JOB, SD_CREW, SD_DIVER, SD_BURN, PSI_M = 0.22, 0.05, 0.11, 0.17, 0.3
SD_JOB_TIME, SD_DIVER_TIME, SD_BURN_TIME = 0.10, 0.08, 0.13
POSITION = {"flat": 0.92, "horizontal": 1.0, "vertical down": 0.97, "vertical up": 1.1, "overhead": 1.22,
            "round a pipe": 1.08}  # fmt: skip
VISIBILITY = {"by feel": 1.18, "under 1 ft": 1.1, "1-3 ft": 1.04, "3-10 ft": 1.0, "over 10 ft": 0.98}
CURRENT = {"none": 1.0, "light": 1.02, "moderate": 1.08, "strong": 1.2}
FOULING = {"bare": 1.0, "thin paint": 1.0, "soft growth": 1.05, "hard growth": 1.13, "heavy rust": 1.08}
BACKING = {"open water": 1.0, "mud or soil": 1.1, "second plate": 1.15}
SAG = {"PIER12": 11, "LOCK6": 6, "BARGE-B": 7}
"""Job -> the dive in which oxygen pressure fell off and nobody noticed."""


@dataclass
class Line:
    """A line to be cut; lengths in the job's step (1/8 in or 1 mm)."""

    code: str
    steel: Steel
    plan: int
    position: str
    fouling: str
    backing: str
    done: int = 0
    again: str = ""
    again_steps: int = 0
    closed: bool = False


@dataclass
class Burn:
    """One cut: what happened, before anybody wrote it down."""

    line: Line
    pass_kind: str
    steps: int
    rods: float
    minutes: int
    start: int
    outcome: str
    edge: str
    hangers: int
    restarts: int
    stoppages: list[tuple[str, int]] = field(default_factory=list)
    burn_s: int = 0

    @property
    def started(self) -> int:
        """Rods lit, part-burned ones included."""
        return max(1, round(self.rods))


@dataclass
class GaugeReading:
    """One look at the gauges; pressures in psi."""

    minute: int
    after_rod: int | None
    bank: float | None
    static: float | None
    flowing: float | None
    reason: str


@dataclass
class Dive:
    """One dive as it was."""

    job: Job
    number: int
    day: date
    crew: str
    diver: str
    rig: str
    bank: str
    rod_type: str
    start: int
    bottom: int
    start_up: int
    depth: float
    visibility: str
    current: str
    surge: str
    burns: list[Burn] = field(default_factory=list)
    bank_start: float = 0.0
    bank_end: float = 0.0
    change_over: tuple[int, float, float] | None = None
    readings: list[GaugeReading] = field(default_factory=list)
    sag_from: int | None = None

    @property
    def started(self) -> int:
        """Rods lit in the dive."""
        return sum(burn.started for burn in self.burns)


def step_m(job: Job) -> float:
    """Metres in one step of the job's rule."""
    return 0.0254 / 8 if job.units == "us" else 0.001


def dives_of(job: Job, seed: int) -> list[Dive]:
    """Every dive of a job, in order."""
    return _Work(job, seed).all()


def lines_of(job: Job, seed: int) -> list[Line]:
    """Every line of a job as planned, before anybody cut it."""
    return _Work(job, seed).open


class _Work:
    """The job while it is being done."""

    def __init__(self, job: Job, seed: int) -> None:
        self.job, self.seed = job, seed
        self.luck = Luck(seed, job.code, "work")
        self.step = step_m(job)
        truth = Luck(seed, job.code, "truth")
        self.job_effect, self.job_pace = truth.normal(SD_JOB), truth.normal(SD_JOB_TIME)
        self.open = self._lines()
        self.bank_left = self.luck.between(0.75, 1.0)
        self.dives: list[Dive] = []

    def _lines(self) -> list[Line]:
        luck, placed = self.luck, []
        for steel in self.job.steel:
            for i in range(steel.count):
                low, high = steel.length
                plan = low if low == high else luck.whole(low, high)
                if low != high:
                    grain = 8 if self.job.units == "us" else 10
                    plan = round(plan / grain) * grain
                fouling = luck.weighted(
                    (("bare", 3), ("thin paint", 2), ("soft growth", 2), ("hard growth", 2), ("heavy rust", 1.5))
                )
                backing = luck.weighted((("open water", 6), ("mud or soil", 2), ("second plate", 0.6)))
                line = Line(f"{steel.prefix}{i + 1:02d}", steel, plan, luck.pick(steel.positions), fouling, backing)
                placed.append((i // 4 * 4 / steel.count, line))
        placed.sort(key=lambda pair: pair[0])
        return [line for _, line in placed]

    def all(self) -> list[Dive]:
        """Days of three or four dives until nothing is left to cut."""
        day = date.fromisoformat(self.job.start)
        crew_at = 0
        while self._work_left():
            if day.weekday() == 6:
                day += timedelta(days=1)
                continue
            crew = self.job.crews[crew_at % len(self.job.crews)]
            self._day(day, crew)
            crew_at += self.luck.chance(0.75)
            day += timedelta(days=1 + self.luck.chance(0.3))
        return self.dives

    def _work_left(self) -> int:
        left = sum(not line.closed for line in self.open)
        return max(0, left - 5) if self.job.ends_early else left

    def _day(self, day: date, crew: str) -> None:
        luck, own = self.luck, CREWS[crew][0]
        clock = luck.whole(7 * 60, 7 * 60 + 40)
        turn = luck.whole(0, len(own) - 1)
        planned = luck.whole(2, 4)
        at = 0
        while at < planned and self._work_left():
            pair = self.job.two_torches and at + 1 < planned
            begun = []
            for k in range(2 if pair else 1):
                diver = own[(turn + at + k) % len(own)]
                if luck.chance(0.07):
                    diver = luck.pick([d for name, (them, _, _) in CREWS.items() if name != crew for d in them])
                begun.append(self._dive(day, crew, diver, clock, self.job.rigs[(at + k) % len(self.job.rigs)]))
                at += 1
            begun = [dive for dive in begun if dive.burns]
            if begun:
                self._oxygen(begun)
                clock = max(dive.start + dive.bottom for dive in begun) + luck.whole(25, 50)
            if clock > 17 * 60:
                return

    def _dive(self, day: date, crew: str, diver: str, clock: int, rig: str) -> Dive:
        luck, job = self.luck, self.job
        sees = min(4, max(0, int(luck.between(-0.8, 1.6) + (1 - job.murk) * 3.4)))
        runs = min(3, max(0, int(luck.between(0, 1.3) + job.flow * 2.0)))
        low, high = job.depth
        depth = luck.between(low, high)
        dive = Dive(
            job, len(self.dives) + 1, day, crew, diver, rig, job.bank, luck.weighted(job.rods), clock,
            luck.whole(*job.bottom), luck.whole(8, 16), depth, list(VISIBILITY)[sees], list(CURRENT)[runs],
            luck.weighted((("none", 5), ("some", 3), ("hard", 1))),
        )  # fmt: skip
        if SAG.get(job.code) == dive.number:
            dive.rod_type, dive.sag_from = "EX38", luck.whole(7, 10)
        now, end = clock + 2 + dive.start_up, clock + dive.bottom - 3
        person = Luck(self.seed, "diver", diver)
        skill, pace = person.normal(SD_DIVER), person.normal(SD_DIVER_TIME)
        skill += Luck(self.seed, "crew", crew).normal(SD_CREW)
        for line in [line for line in self.open if not line.closed]:
            while not line.closed and len(dive.burns) < self.job.most_rows:
                burn = self._burn(dive, line, skill, pace, now, end)
                if burn is None:
                    break
                dive.burns.append(burn)
                now += burn.minutes + luck.whole(0, 1)
                if burn.outcome == "part way":
                    break
            if not line.closed and (line.again or line.done) and not luck.chance(0.05):
                break  # the clock ran out on this line
            if len(dive.burns) >= self.job.most_rows or end - now < 4:
                break
        if dive.burns:
            self.dives.append(dive)
        return dive

    def _burn(self, dive: Dive, line: Line, skill: float, pace: float, now: int, end: int) -> Burn | None:
        luck, rod = self.luck, ROD_TYPES[dive.rod_type]
        hard = POSITION[line.position] * VISIBILITY[dive.visibility] * CURRENT[dive.current]
        hard *= FOULING[line.fouling] * BACKING[line.backing]
        first = not line.again
        pass_kind = line.again or "first"
        steps = line.plan - line.done if first else line.again_steps
        metres = steps * self.step
        exposure = metres * (1 + START_M / (line.plan * self.step)) if first else 0.6 * metres + 0.05
        spread = SD_BURN * math.sqrt(1 + PSI_M / max(exposure, 0.05))
        rods = exposure * rod.rods_per_m * line.steel.thickness_mm / 12.7 * hard
        rods *= math.exp(self.job_effect + skill + luck.normal(spread))
        sagging = dive.sag_from is not None and dive.started + rods / 2 >= dive.sag_from + 1
        rods *= 1.3 if sagging else 1.0
        per_rod = rod.minutes * (line.steel.thickness_mm / 12.7) ** 0.15 * math.sqrt(hard)
        per_rod *= math.exp(self.job_pace + pace + luck.normal(SD_BURN_TIME))
        stoppages: list[tuple[str, int]] = []
        if luck.chance(0.07):
            why = luck.pick(("crane", "power", "current or tide", "voice", "diver rest", "oxygen"))
            stoppages.append((why, luck.whole(2, 9)))
        stopped = sum(minutes for _, minutes in stoppages)
        share, gives_up = 1.0, first and luck.chance(0.018 * hard)
        if gives_up:
            share = luck.between(0.25, 0.7)
        elif rods * per_rod + stopped > end - now:
            share = (end - now - stopped) / (rods * per_rod)
            if share < 0.3 or not first:
                return None
        grain = 8 if self.job.units == "us" else 10
        done = steps if share == 1.0 else round(steps * share / grain) * grain
        if done < grain * 3 and share < 1.0:
            return None
        rods = max(0.6, rods * share)
        minutes = max(1, round(rods * per_rod), math.ceil(max(1, round(rods)) * 0.6)) + stopped
        if now + minutes > end + 2:
            return None
        outcome = self._outcome(line, first, done, share, gives_up, hard, sagging)
        edge = luck.weighted((("clean", 1.3), ("rough", 1.0), ("ragged", 0.24 * hard)))
        if sagging:
            edge = "ragged" if luck.chance(0.8) else "rough"
        elif outcome == "not through":
            edge = "ragged" if luck.chance(0.7) else "rough"
        hangers = luck.whole(1, 2) if outcome == "through with hangers" else 0
        restarts = sum(luck.chance(0.06 * hard) for _ in range(max(1, round(rods))))
        seconds = (42 if rod.family == "exothermic" else 58) * rods * math.exp(luck.normal(0.08))
        burn_s = int(min(seconds, 60 * (minutes - stopped) * 0.94))
        return Burn(
            line, pass_kind, done if first else 0, rods, minutes, now, outcome, edge,
            hangers, restarts, stoppages, burn_s,
        )  # fmt: skip

    def _outcome(
        self, line: Line, first: bool, done: int, share: float, gives_up: bool, hard: float, sagging: bool
    ) -> str:
        """What came of it, and what the line still needs."""
        luck = self.luck
        if first:
            line.done += done
        if gives_up:
            line.closed = True
            return "abandoned"
        if share < 1.0:
            return "part way"
        worse = hard * (2.2 if sagging else 1.0)
        if luck.chance((0.06 if first else 0.03) * worse):
            line.again, line.again_steps = "re-burn", max(4, int(line.plan * luck.between(0.2, 0.5)))
            return "not through"
        if luck.chance((0.13 if first else 0.06) * worse):
            line.again, line.again_steps = "hanger", max(2, int(0.05 / self.step))
            return "through with hangers"
        line.again, line.closed = "", True
        return "through"

    def _oxygen(self, dives: Sequence[Dive]) -> None:
        """Bank pressures of dives that drew on one bank at the same time, and the looks at the gauges."""
        luck, bank = self.luck, BANKS[dives[0].bank]
        full = bank.cylinders * bank.kg_each
        label = bank.label_value * (1.0 if bank.unit == "psi" else 14.5038)
        rods = {dive.number: ROD_TYPES[dive.rod_type].oxygen_kg for dive in dives}
        used = sum(
            rods[d.number] * d.started * math.exp(luck.normal(0.12)) for d in dives
        ) / full  # fmt: skip
        if self.bank_left - used < 0.10 and (len(dives) > 1 or luck.chance(0.5)):
            self.bank_left = luck.between(0.94, 1.0)
            if luck.chance(0.9):
                minute = min(dive.burns[0].start for dive in dives) - 6
                put_on = GaugeReading(minute, None, self.bank_left * label, None, None, "change-over")
                for dive in dives:
                    dive.readings.append(put_on)
        start, change = self.bank_left, None
        if start - used < 0.06:
            empty, fresh = luck.between(0.05, 0.09), luck.between(0.94, 1.0)
            burns = dives[0].burns
            minute = burns[len(burns) // 2].start
            change = (minute, empty * label, fresh * label)
            self.bank_left = fresh - max(0.0, used - (start - empty))
        else:
            self.bank_left = start - used
        for dive in dives:
            dive.bank_start, dive.bank_end = start * label, self.bank_left * label
            dive.change_over = change
            self._gauges(dive)

    def _gauges(self, dive: Dive) -> None:
        luck = self.luck
        usual, grain = RIGS[dive.rig]
        static = round(self.job.static + luck.normal(2.5))

        def flowing(fall: float = 0.0) -> float:
            return round((static - usual - fall + luck.normal(1.5)) / grain) * grain

        def minute_of(rod: int) -> int:
            seen = 0
            for burn in dive.burns:
                if rod <= seen + burn.started:
                    return burn.start + round(burn.minutes * (rod - seen) / (burn.started + 1))
                seen += burn.started
            return dive.burns[-1].start + dive.burns[-1].minutes

        if dive.sag_from is not None:
            depth, over = luck.between(22, 32), luck.whole(6, 9)
            for rod in range(1, dive.started + 1):
                fall = depth * min(1.0, max(0, rod - dive.sag_from) / over)
                dive.readings.append(GaugeReading(minute_of(rod), rod, None, static, flowing(fall), "series"))
        elif luck.chance(0.72):
            first = dive.burns[0].start
            dive.readings.append(GaugeReading(first - 3, 0, None, static, None, "start"))
            for rod in sorted({luck.whole(2, max(2, dive.started)) for _ in range(luck.whole(1, 2))}):
                dive.readings.append(GaugeReading(minute_of(rod), rod, None, static, flowing(), "spot"))
        if dive.change_over is not None:
            minute, empty, fresh = dive.change_over
            if luck.chance(0.6):
                dive.readings.append(GaugeReading(minute, None, empty, None, None, "change-over"))
            dive.readings.append(GaugeReading(minute, None, fresh, None, None, "change-over"))
        dive.readings.sort(key=lambda reading: reading.minute)
