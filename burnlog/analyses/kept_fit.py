"""A fit put away with the record it was made from, and read back while that record stands as it did.

The key is a digest of everything the fit depends on: the rows it is given, its settings, the versions of what
computes it. An amended record has another key, so that an old fit is never taken for a new one.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from dataclasses import asdict
from functools import cache
from importlib import import_module
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from burnlog.analyses.rate_design import Design, Settings, design, time_design
from burnlog.analyses.rate_fit import Model, RateFit, cuts_per_rod, divers_per_job, fit_rates
from burnlog.analyses.tallies import TallySet
from burnlog.stats.compact import as_text, from_plain, numbers, plain, without_negligible

__all__ = ["KIND", "fit_key", "fitted", "fitted_as_text", "read_back"]

KIND = "rates"
LIBRARIES = ("burnlog", "numpy", "scipy", "pandas")
CODE = (
    *("burnlog.analyses.conditions", "burnlog.analyses.rate_design", "burnlog.analyses.rate_fit"),
    *("burnlog.analyses.kept_fit", "burnlog.stats.compact", "burnlog.stats.conjugate"),
    *("burnlog.stats.posterior", "burnlog.stats.terms"),
)
"""Modules whose text is in the key: a fit made by other formulas is another fit, whatever the version says."""


def fitted(tallyset: TallySet, settings: Settings) -> RateFit:
    """Fit the tallies, and keep of the fit what can be read back.

    A bid is drawn from this form whether the fit was made now or read back, so that both give the same bytes.

    Raises
    ------
    FitError
        As `fit_rates`.
    """
    return read_back(fitted_as_text(tallyset, settings), tallyset, settings)


def fitted_as_text(tallyset: TallySet, settings: Settings) -> str:
    """Fit the tallies and write the fit as JSON text, without the rows it came from."""
    made = fit_rates(tallyset, settings=settings)
    return json.dumps(
        {
            "rods": _model(made.rods),
            "time": None if made.time is None else _model(made.time),
            "time_refused": made.time_refused,
        },
        allow_nan=False,
    )


def fit_key(tallyset: TallySet, settings: Settings) -> str:
    """Digest of all that a fit depends on, 64 hexadecimal digits."""
    digest = hashlib.sha256()
    for part in (*_made_by(), json.dumps(asdict(settings), sort_keys=True)):
        digest.update(part.encode())
    for frame in (tallyset.tallies.reset_index(), tallyset.pieces):
        for name, column in frame.items():
            digest.update(f"\x1e{name}\x1f".encode())
            digest.update(_bytes(column))
    return digest.hexdigest()


def read_back(text: str, tallyset: TallySet, settings: Settings) -> RateFit:
    """The fit that `fitted_as_text` wrote, on the same tallies and settings."""
    value = json.loads(text)
    rows = design(tallyset, settings)
    return RateFit(
        tallyset=tallyset,
        settings=settings,
        rods=_read_model(value["rods"], rows),
        time=None if value["time"] is None else _read_model(value["time"], time_design(tallyset, rows)),
        time_refused=value["time_refused"],
        cuts_per_rod=cuts_per_rod(tallyset),
        divers_per_job=divers_per_job(tallyset),
    )


def _model(model: Model) -> dict[str, Any]:
    posterior, cases = without_negligible(model.posterior)
    return {"posterior": plain(posterior), "scale": as_text(model.scale[cases])}


def _read_model(value: dict[str, Any], rows: Design) -> Model:
    return Model(rows, from_plain(value["posterior"]), numbers(value["scale"]))


@cache
def _made_by() -> tuple[str, ...]:
    """Versions and program text behind a fit."""
    files = (Path(str(import_module(name).__file__)) for name in CODE)
    return (
        *(f"{name} {version(name)}" for name in LIBRARIES),
        *(hashlib.sha256(file.read_bytes()).hexdigest() for file in files),
    )


def _bytes(column: pd.Series) -> bytes:
    """A column as bytes that differ where a value does."""
    if column.dtype.kind in "fiub":
        return np.ascontiguousarray(column.to_numpy()).tobytes()
    if column.dtype.kind == "M":
        return np.ascontiguousarray(column.to_numpy().astype("datetime64[us]").astype("int64")).tobytes()
    values: Iterable[object] = column.astype(object).to_numpy()
    return "\x1f".join("\x00" if value is None or value != value else str(value) for value in values).encode()
