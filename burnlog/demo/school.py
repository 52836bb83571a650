"""The invented dive school: a class of twelve in a tank, and dry practice on deck the week before.

MADE UP like the rest; the trainees are codes and nothing else.
"""

from __future__ import annotations

import math

from burnlog.demo.jobs import RIGS
from burnlog.demo.luck import Luck
from burnlog.demo.paper import COLUMNS, Row, clock

__all__ = ["CLASS_DAYS", "PRACTICE_DAY", "TRAINEES", "class_rows", "practice_rows"]

TRAINEES = tuple(f"TR{number:02d}" for number in range(1, 13))
ATTEMPTS = 4
COUPON_M, STUB_IN, ROD_IN = 0.6096, 3, 18
STATIC_PSI = 90
PRACTICE_DAY = "2026-03-13"
CLASS_DAYS = ("2026-03-17", "2026-03-18", "2026-03-19", "2026-03-20")
TECHNIQUE = (
    "hurried start", "hurried finish", "uneven travel", "contact lost", "far side not through",
    "next start not prepared", "body in line with the cut",
)  # fmt: skip


def _row(job: str, dive: int, row: int) -> Row:
    out = dict.fromkeys(COLUMNS, "")
    out.update(job=job, dive=str(dive), row=str(row), record_class="training", made_up="yes")
    return out


def class_rows(seed: int) -> list[Row]:
    """Twelve trainees, four attempts each at 2 ft of half-inch plate in the tank."""
    luck, gauge = Luck(seed, "class"), Luck(seed, "class gauge")
    skill = {code: luck.normal(0.22) for code in TRAINEES}
    rows, dive = [], 0
    for attempt, day in enumerate(CLASS_DAYS, 1):
        minute = 8 * 60
        for code in TRAINEES:
            dive += 1
            rods = 4.4 * math.exp(skill[code] + luck.normal(0.22)) * attempt**-0.18
            full = max(1, int(rods))
            stub = round(STUB_IN + (1 - (rods - full)) * (ROD_IN - STUB_IN)) if rods > full else STUB_IN
            minutes = max(3, round(rods * 2.1 * math.exp(luck.normal(0.15)) * attempt**-0.1))
            through = luck.chance(0.72 + 0.05 * attempt)
            calls = 2 * (full + 1)
            wrong = sum(luck.chance(0.16 / attempt) for _ in range(calls))
            row = _row("CLASS26", dive, 1)
            row.update(
                setting="test tank", water="fresh", dive_date=day, diver=code, crew="CLASS", supervisor="IN01",
                tender=luck.pick(TRAINEES) if luck.chance(0.7) else "", rig="RIGT", depth="4 m",
                visibility="over 10 ft" if attempt < 4 else "by feel", current="none", line=f"{code}-{attempt}",
                section="coupon", material="carbon steel", thickness="1/2 in", position="horizontal",
                fouling="bare", backing="open water", closed_space="open", planned_length="2 ft",
                rod_type="EX38", family="exothermic", new_length="2 ft",
                outcome="through" if through else "not through",
                start=clock(minute), stop=clock(minute + minutes), calls_made=str(calls),
                calls_right=str(calls - wrong), faults=str(sum(luck.chance(0.12 / attempt) for _ in range(3))),
                edge=luck.weighted((("clean", attempt), ("rough", 3), ("ragged", 3 - attempt / 2))),
                restarts=str(sum(luck.chance(0.2 / attempt) for _ in range(full + 1))),
                hangers="0" if through else "",
                sheet=f"CLASS26-{dive:04d}", log_ref=f"school book p.{dive}", bottom_time="0:25",
            )  # fmt: skip
            row["pass"] = "first"
            if gauge.chance(0.8):  # the class is taught to look; a fifth of the boxes stay empty all the same
                fall = round(RIGS["RIGT"][0] + gauge.normal(1.2))
                row["regulator_static"], row["regulator_flowing"] = f"{STATIC_PSI} psi", f"{STATIC_PSI - fall} psi"
            row["rods"] = f"{full} + {stub}in" if luck.chance(0.7) else str(full + 1)
            seen = [word for word in TECHNIQUE if luck.chance(0.16 / math.sqrt(attempt))]
            row["technique"] = "; ".join(seen)
            if luck.chance(0.05):
                row["rods"] = ""
            if luck.chance(0.06):
                row["start"] = row["stop"] = ""
            rows.append(row)
            minute += minutes + luck.whole(8, 14)
    return rows


def practice_rows(seed: int) -> list[Row]:
    """Dry practice on deck: two short burns each, rod changes and calls first of all."""
    luck = Luck(seed, "practice")
    rows = []
    for turn, code in enumerate((*TRAINEES, "D02", "D06"), 1):
        minute = 8 * 60 + 20 * turn
        for number in (1, 2):
            row = _row("DRYDECK", turn, number)
            if number == 1:
                calls = luck.whole(4, 6)
                row.update(
                    setting="dry practice", water="none", dive_date=PRACTICE_DAY, diver=code, crew="CLASS",
                    supervisor="IN01", rig="RIGT", calls_made=str(calls),
                    calls_right=str(calls - int(luck.chance(0.4))), faults=str(int(luck.chance(0.25))),
                    sheet=f"DRYDECK-{turn:04d}", log_ref="no dive",
                )  # fmt: skip
            else:
                row["setting"] = "dry practice"
            row.update(
                line=f"C{turn}-{number}", section="scrap plate", material="carbon steel", thickness="3/8 in",
                position="flat", fouling="bare", backing="open water", planned_length="12 in", new_length="12 in",
                rod_type="EX38", family="exothermic", rods=str(luck.whole(1, 2)), start=clock(minute + 6 * number),
                stop=clock(minute + 6 * number + luck.whole(2, 4)), outcome="through",
                edge=luck.pick(("clean", "rough")),
            )  # fmt: skip
            row["pass"] = "first"
            rows.append(row)
    return rows
