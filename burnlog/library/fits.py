"""Fits that are kept in the log: made once for a record, read back while it stands as it did.

Keeping is a convenience. A log that cannot be written to just now, or never, gives the same answer from a new fit.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from burnlog.errors import FileError, InputError

if TYPE_CHECKING:
    from burnlog.analyses.rate_fit import RateFit, Settings
    from burnlog.analyses.tallies import TallySet

__all__ = ["kept_fits"]

LONGEST_PAYLOAD = 20_000_000
"""Bytes above which a fit is not kept: it would outgrow the record it comes from."""


def kept_fits(path: Path, *, by: str, now: Callable[[], dt.datetime]) -> Callable[[TallySet, Settings], RateFit]:
    """What fits the tallies of a log: `burnlog.analyses.kept_fit.fitted`, with the fits it made before.

    Parameters
    ----------
    path : Path
        The log.
    by : str
        Whose hand keeps a new fit.
    now : callable
        The clock, for its stamp.
    """
    from burnlog.analyses.kept_fit import KIND, fit_key, fitted_as_text, read_back
    from burnlog.store.kept import find_fit_run, save_fit_run
    from burnlog.store.log import Log

    def fit(tallyset: TallySet, settings: Settings) -> RateFit:
        key = fit_key(tallyset, settings)
        with Log.open(path, by=by, now=now, write=False) as log:
            text = find_fit_run(log, KIND, data_hash=key)
        if text is None:
            text = fitted_as_text(tallyset, settings)
            if len(text) <= LONGEST_PAYLOAD:
                keep(text, key)
        return read_back(text, tallyset, settings)

    def keep(text: str, key: str) -> None:
        try:
            with Log.open(path, by=by, now=now, write=True) as log:
                log.connection.execute("PRAGMA busy_timeout = 0")  # nobody waits for a convenience
                save_fit_run(log, KIND, text, data_hash=key)
        except (FileError, InputError):
            return  # read-only, in use or full: the next bid fits anew

    return fit
