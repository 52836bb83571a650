"""burnlog: a log of underwater cutting that turns its own history into ranges for the next job."""

from burnlog.library import OpenLog, estimate, fit_rates, flags, open_log, rates

__all__ = ["OpenLog", "estimate", "fit_rates", "flags", "open_log", "rates"]
