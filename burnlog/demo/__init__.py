"""The demonstration: an invented contractor's three years of sheets, written as files. Every row says MADE UP.

It writes text and nothing else; what reads the files is what reads anybody's files.
"""

from burnlog.demo.files import IMPORT_ORDER, SEED, TAKEOFF, write_scenario, write_sheets
from burnlog.demo.jobs import CONTRACTOR, JOBS, SAMPLE
from burnlog.demo.paper import SLIPS
from burnlog.demo.work import SAG

__all__ = [
    "CONTRACTOR",
    "IMPORT_ORDER",
    "JOBS",
    "SAG",
    "SAMPLE",
    "SEED",
    "SLIPS",
    "TAKEOFF",
    "write_scenario",
    "write_sheets",
]
