"""The invented contractor: its jobs, steel, crews, rigs and banks.

Everything here is MADE UP. Sizes of steel are common ones; names, places, people and the order of the jobs are
invented, and no number here is a figure of the trade.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

__all__ = ["BANKS", "CREWS", "JOBS", "RIGS", "ROD_TYPES", "SAMPLE", "Bank", "Job", "RodType", "Steel"]

CONTRACTOR = "Tallow Reach Underwater Works"


@dataclass(frozen=True)
class RodType:
    """A rod type, with the truth about it that nobody in the scenario knows."""

    code: str
    family: str
    diameter: str
    length: str
    length_in: float
    stub_in: float
    pack: int
    rods_per_m: float
    """Rods for a metre of half-inch plate, at rest in good conditions. Invented."""
    minutes: float
    """Minutes from one rod to the next. Invented."""
    oxygen_kg: float
    """Oxygen for one rod, leaks and purging included. Invented."""


ROD_TYPES: Mapping[str, RodType] = {
    rod.code: rod
    for rod in (
        RodType("EX38", "exothermic", "3/8 in", "18 in", 18, 3, 25, 3.4, 1.25, 0.44),
        RodType("EX14", "exothermic", "1/4 in", "18 in", 18, 3, 50, 4.5, 1.15, 0.34),
        RodType("TB516", "tubular", "5/16 in", "14 in", 14, 3, 40, 4.2, 1.55, 0.27),
    )
}


@dataclass(frozen=True)
class Bank:
    """An oxygen bank; `kg_each` is what its label comes to: 244 scf at 70 F and 1 atm, or kg as weighed."""

    code: str
    cylinders: int
    kg_each: float
    label: str
    label_value: float
    unit: str
    temp: str
    route: str


BANKS: Mapping[str, Bank] = {
    bank.code: bank
    for bank in (
        Bank("BANK1", 12, 9.163, "2200 psi", 2200, "psi", "70 F", "label volume"),
        Bank("BANK2", 9, 14.4, "200 bar", 200, "bar", "15 C", "water volume real gas"),
        Bank("BANK3", 16, 9.163, "2200 psi", 2200, "psi", "70 F", "label volume"),
        Bank("BANK4", 6, 14.4, "200 bar", 200, "bar", "15 C", "water volume real gas"),
    )
}

RIGS: Mapping[str, tuple[float, float]] = {
    "RIG1": (19.0, 1.0),
    "RIG2": (24.0, 1.0),
    "RIG3": (22.0, 5.0),
    "RIGT": (14.0, 1.0),
}
"""Rig -> usual drop from static to flowing, and the step its gauge is read to [psi]. Invented."""

CREWS: Mapping[str, tuple[tuple[str, ...], str, str]] = {
    "RED": (("D01", "D02", "D03", "D04"), "T01", "S01"),
    "GREY": (("D05", "D06", "D07", "D08"), "T02", "S02"),
    "BLUE": (("D09", "D10", "D11"), "T03", "S03"),
}
"""Crew -> divers, tender, supervisor, all of them codes."""


@dataclass(frozen=True)
class Steel:
    """A set of like lines to cut: `length` spans the planned length in 1/8 in (US) or mm (metric)."""

    prefix: str
    count: int
    section: str
    thickness: str
    thickness_mm: float
    length: tuple[int, int]
    positions: tuple[str, ...]
    closed: str = "open"
    material: str = "carbon steel"


@dataclass(frozen=True)
class Job:
    """A job: what there is to cut, who does it with what, and the water it is in."""

    code: str
    title: str
    place: str
    start: str
    units: str
    water: str
    depth: tuple[float, float]
    bottom: tuple[int, int]
    crews: tuple[str, ...]
    steel: tuple[Steel, ...]
    rods: tuple[tuple[str, float], ...]
    rigs: tuple[str, ...]
    bank: str
    murk: float
    """0 clear to 1 by feel."""
    flow: float
    """0 still to 1 strong current."""
    static: float
    """Static regulator pressure [psi]. Invented, and without meaning for any work."""
    by_dive: float
    """Share of dives whose rods were counted by the dive."""
    two_torches: bool = False
    ends_early: bool = False
    most_rows: int = 12


HP14, HP12 = (339, 339), (283, 283)
_UPRIGHT = ("horizontal", "horizontal", "horizontal", "vertical down", "vertical up")
_HULL = ("flat", "vertical down", "horizontal", "vertical down", "overhead", "vertical up")

JOBS: tuple[Job, ...] = (
    Job(
        "QUAY3", "Bearing piles, old coal quay", "Cold Spit", "2023-05-08", "us", "salt", (6, 9), (44, 72),
        ("RED", "GREY"), (Steel("P", 26, "HP14x89", "5/8 in", 15.875, (336, 336), ("horizontal",)),
        Steel("BR", 22, "plate", "1/2 in", 12.7, (96, 288), _UPRIGHT)),
        (("EX38", 0.8), ("TB516", 0.2)), ("RIG1", "RIG2"), "BANK1", 0.6, 0.3, 104, 0.5,
    ),
    Job(
        "COFFER1", "Cofferdam sheets below the sill", "Lower Marrowby", "2023-07-03", "metric", "fresh", (7, 10),
        (42, 65), ("GREY", "BLUE"), (Steel("Z", 38, "Z 700", "12 mm", 12.0, (934, 934), ("horizontal",)),
        Steel("WL", 10, "plate", "16 mm", 16.0, (600, 1800), _UPRIGHT)),
        (("TB516", 0.65), ("EX38", 0.35)), ("RIG2", "RIG3"), "BANK2", 0.8, 0.2, 96, 0.6,
    ),
    Job(
        "BARGE-A", "Sunken deck barge, first lift", "Pell Narrows", "2023-09-11", "us", "salt", (9, 13), (37, 60),
        ("RED", "BLUE"), (Steel("DK", 18, "plate", "3/8 in", 9.525, (288, 768), _HULL),
        Steel("BH", 18, "plate", "1/2 in", 12.7, (192, 576), _HULL, "closed or could hold gas")),
        (("EX38", 0.7), ("EX14", 0.3)), ("RIG1", "RIG3"), "BANK3", 0.3, 0.6, 110, 0.4,
    ),
    Job(
        "DOLPH2", "Pipe piles of a mooring dolphin", "Pell Narrows", "2023-11-06", "us", "salt", (8, 11), (42, 65),
        ("GREY", "RED"), (Steel("PP", 18, "pipe 24 in", "1/2 in", 12.7, (603, 603), ("round a pipe",)),
        Steel("FN", 14, "plate", "3/4 in", 19.05, (96, 240), _UPRIGHT)),
        (("EX38", 0.9), ("TB516", 0.1)), ("RIG2", "RIG1"), "BANK1", 0.5, 0.5, 108, 0.5,
    ),
    Job(
        "WEIR9", "Stop-log guides of a weir", "Ostrow Beck", "2024-03-04", "metric", "fresh", (4, 6), (57, 90),
        ("BLUE", "GREY"), (Steel("GD", 26, "plate", "20 mm", 20.0, (400, 1200), _UPRIGHT),
        Steel("AN", 18, "plate", "25 mm", 25.0, (200, 600), ("vertical down", "horizontal"))),
        (("TB516", 0.5), ("EX38", 0.5)), ("RIG3", "RIG2"), "BANK4", 0.7, 0.7, 98, 0.5,
    ),
    Job(
        "PIER12", "Bearing piles of a ferry pier", "Harl Sound", "2024-05-13", "us", "salt", (8, 12), (40, 60),
        ("RED", "GREY", "BLUE"), (Steel("P", 34, "HP14x117", "13/16 in", 20.6375, HP14, ("horizontal",)),
        Steel("BR", 16, "plate", "1/2 in", 12.7, (96, 240), _UPRIGHT)),
        (("EX38", 0.85), ("EX14", 0.15)), ("RIG1", "RIG2", "RIG3"), "BANK3", 0.7, 0.4, 112, 0.6,
    ),
    Job(
        "SLIP4", "Slipway sheets and cradle plates", "Harl Sound", "2024-07-15", "metric", "salt", (5, 8), (52, 80),
        ("BLUE", "RED"), (Steel("Z", 30, "Z 700", "12 mm", 12.0, (934, 934), ("horizontal",)),
        Steel("CR", 18, "plate", "10 mm", 10.0, (700, 2400), _HULL)),
        (("EX38", 0.6), ("EX14", 0.4)), ("RIG3", "RIG1"), "BANK2", 0.4, 0.2, 94, 0.5,
    ),
    Job(
        "JETTY5", "Tubular piles of a fuel jetty", "Quern Bay", "2024-09-09", "metric", "salt", (9, 12), (40, 62),
        ("GREY", "BLUE"), (Steel("TP", 20, "pipe 610", "12.5 mm", 12.5, (1916, 1916), ("round a pipe",),
        "closed or could hold gas"), Steel("GU", 14, "plate", "20 mm", 20.0, (300, 900), _UPRIGHT)),
        (("EX38", 1.0),), ("RIG2", "RIG3"), "BANK4", 0.5, 0.5, 106, 0.5, True,
    ),
    Job(
        "MOOR1", "Mooring frame, heavy plate", "Cold Spit", "2024-11-04", "us", "salt", (10, 13), (37, 55),
        ("RED", "GREY"), (Steel("FR", 16, "plate", "1 in", 25.4, (96, 288), _UPRIGHT),
        Steel("PD", 14, "plate", "1-1/4 in", 31.75, (64, 160), ("flat", "vertical down", "horizontal")),
        Steel("SH", 2, "plate", "1/2 in", 12.7, (96, 128), ("horizontal",), "open", "stainless steel")),
        (("EX38", 0.8), ("TB516", 0.2)), ("RIG1", "RIG2"), "BANK1", 0.4, 0.6, 118, 0.4,
    ),
    Job(
        "LOCK6", "Lock gate heel and sill", "Lower Marrowby", "2025-03-10", "metric", "fresh", (5, 7), (57, 85),
        ("GREY", "RED"), (Steel("HL", 16, "plate", "30 mm", 30.0, (250, 700), ("vertical down", "horizontal")),
        Steel("SL", 26, "plate", "16 mm", 16.0, (500, 1500), _UPRIGHT)),
        (("EX38", 0.55), ("TB516", 0.45)), ("RIG2", "RIG1"), "BANK2", 0.8, 0.1, 100, 0.6,
    ),
    Job(
        "PIER14", "Bearing piles, second berth", "Harl Sound", "2025-05-12", "us", "salt", (8, 12), (40, 60),
        ("RED", "BLUE", "GREY"), (Steel("P", 30, "HP14x117", "13/16 in", 20.6375, HP14, ("horizontal",)),
        Steel("Q", 18, "HP12x74", "5/8 in", 15.875, HP12, ("horizontal",))),
        (("EX38", 0.9), ("TB516", 0.1)), ("RIG1", "RIG3", "RIG2"), "BANK3", 0.7, 0.4, 110, 0.5,
    ),
    Job(
        "WALL8", "Sheet wall below the dredge line", "Ostrow Beck", "2025-08-04", "metric", "brackish", (6, 9),
        (47, 75), ("BLUE", "GREY"), (Steel("Z", 46, "Z 700", "12 mm", 12.0, (934, 934), ("horizontal",)),
        Steel("WL", 10, "plate", "25 mm", 25.0, (300, 800), _UPRIGHT)),
        (("EX38", 0.7), ("TB516", 0.3)), ("RIG3", "RIG2"), "BANK2", 0.9, 0.3, 98, 0.6,
    ),
    Job(
        "BARGE-B", "Sunken deck barge, second lift", "Pell Narrows", "2025-10-06", "us", "salt", (9, 13), (37, 60),
        ("RED", "BLUE", "GREY"), (Steel("DK", 18, "plate", "3/8 in", 9.525, (240, 768), _HULL),
        Steel("BH", 16, "plate", "1/2 in", 12.7, (192, 576), _HULL, "closed or could hold gas"),
        Steel("KN", 10, "plate", "3/4 in", 19.05, (96, 240), _HULL)),
        (("EX38", 0.75), ("EX14", 0.25)), ("RIG1", "RIG3"), "BANK3", 0.3, 0.6, 112, 0.4,
    ),
    Job(
        "DOLPH5", "Pipe piles of a second dolphin", "Quern Bay", "2026-02-09", "us", "salt", (8, 11), (42, 65),
        ("GREY", "RED"), (Steel("PP", 18, "pipe 24 in", "1/2 in", 12.7, (603, 603), ("round a pipe",)),
        Steel("FN", 16, "plate", "5/8 in", 15.875, (96, 240), _UPRIGHT)),
        (("EX38", 0.85), ("TB516", 0.15)), ("RIG2", "RIG1"), "BANK1", 0.5, 0.5, 108, 0.5, False, True,
    ),
)  # fmt: skip
"""Production jobs in the order they were done."""

SAMPLE = Job(
    "SLUICE2", "Trash-rack frame of a sluice", "Ostrow Beck", "2026-04-13", "us", "fresh", (5, 7), (50, 56),
    ("RED", "BLUE"), (Steel("RK", 70, "plate", "1/2 in", 12.7, (80, 176), _UPRIGHT),),
    (("EX38", 1.0),), ("RIG1",), "BANK1", 0.5, 0.2, 102, 0.5, False, True, 10,
)  # fmt: skip
"""The small job behind the eight sample sheets."""
