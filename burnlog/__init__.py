"""burnlog: a log of underwater cutting that turns its own history into ranges for the next job."""

from burnlog.library.bids import estimate, plan, read_takeoff, what_if
from burnlog.library.learning import backtest, check, crews, events, fit_rates, flags, practice, rates, rehearse, sag
from burnlog.library.record import Invented, OpenLog, invent, make_demo, make_log, open_log
from burnlog.library.showing import cautions, draw, text

__all__ = [
    "Invented",
    "OpenLog",
    "backtest",
    "cautions",
    "check",
    "crews",
    "draw",
    "estimate",
    "events",
    "fit_rates",
    "flags",
    "invent",
    "make_demo",
    "make_log",
    "open_log",
    "plan",
    "practice",
    "rates",
    "read_takeoff",
    "rehearse",
    "sag",
    "text",
    "what_if",
]
