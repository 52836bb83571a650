"""An integrated fit as plain values and back: what draws and means need, without the rows it was made from.

Arrays go as base64 of their doubles, so that what comes back has every bit of what was put away.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from burnlog.stats.conjugate import CaseTables, Tables
from burnlog.stats.posterior import Posterior
from burnlog.stats.terms import Array, Basis, Case, Effect

__all__ = ["as_text", "from_plain", "numbers", "plain", "without_negligible"]

NEGLIGIBLE = 1e-9
"""Weight, of all points together, that is dropped: one draw in a billion."""


def without_negligible(posterior: Posterior) -> tuple[Posterior, NDArray[np.intp]]:
    """The points that hold all the weight but a billionth, and their cases alone.

    Returns
    -------
    Posterior
        Weights sum to 1 again.
    int array (cases,)
        Which of the cases given are left, in order.
    """
    heavy = np.argsort(-posterior.weights, kind="stable")
    enough = 1 + int(np.searchsorted(np.cumsum(posterior.weights[heavy]), 1.0 - NEGLIGIBLE))
    kept = np.sort(heavy[:enough])
    cases, number = np.unique(posterior.case[kept], return_inverse=True)
    tables = posterior.tables
    lean = replace(
        tables,
        cases=tuple(tables.cases[c] for c in cases),
        entries=tuple(tables.entries[c] for c in cases),
    )
    weights = posterior.weights[kept]
    return (
        Posterior(
            tables=lean,
            case=number.astype(np.intp),
            ratios=posterior.ratios[kept],
            weights=weights / weights.sum(),
            coef_at=posterior.coef_at[kept],
            variance_at=posterior.variance_at[kept],
            khat=posterior.khat,
        ),
        cases.astype(np.intp),
    )


def plain(posterior: Posterior) -> dict[str, Any]:
    """The fit as values that JSON holds; its rows are not among them."""
    tables = posterior.tables
    return {
        "names": list(tables.names),
        "rows": tables.n,
        "prior_precision": as_text(tables.prior_precision),
        "sigma_prior": None if tables.sigma_prior is None else list(tables.sigma_prior),
        "eliminated": tables.eliminated,
        "effects": [
            {"name": each.name, "levels": list(each.levels), "scale": each.scale, "grid": list(each.grid)}
            for each in tables.effects
        ],
        "cases": [
            {"log_prior": case.log_prior, "tag": dict(case.tag), **_entry(entry)}
            for case, entry in zip(tables.cases, tables.entries, strict=True)
        ],
        "case": [int(c) for c in posterior.case],
        "khat": posterior.khat,
        **{name: as_text(getattr(posterior, name)) for name in ("ratios", "weights", "coef_at", "variance_at")},
    }


def from_plain(value: Mapping[str, Any]) -> Posterior:
    """The fit that `plain` wrote: the same draws from the same generator.

    Its cases hold their tag and no rows, so that it cannot be fitted anew or have rows taken out.
    """
    effects = tuple(
        Effect(
            each["name"],
            np.zeros((0, len(each["levels"]))),
            tuple(each["levels"]),
            each["scale"],
            (each["grid"][0], each["grid"][1], int(each["grid"][2])),
        )
        for each in value["effects"]
    )
    names = tuple(value["names"])
    none = np.zeros(0)
    sigma_prior = value["sigma_prior"]
    tables = Tables(
        cases=tuple(
            Case(none, np.zeros((0, len(names))), none, each["log_prior"], each["tag"]) for each in value["cases"]
        ),
        effects=effects,
        prior_precision=numbers(value["prior_precision"]),
        names=names,
        sigma_prior=None if sigma_prior is None else (sigma_prior[0], sigma_prior[1]),
        entries=tuple(_from_entry(each) for each in value["cases"]),
        kept=np.ones(int(value["rows"]), dtype=bool),
        eliminated=value["eliminated"],
    )
    return Posterior(
        tables=tables,
        case=np.array(value["case"], dtype=np.intp),
        ratios=numbers(value["ratios"]),
        weights=numbers(value["weights"]),
        coef_at=numbers(value["coef_at"]),
        variance_at=numbers(value["variance_at"]),
        khat=value["khat"],
    )


def _entry(entry: CaseTables) -> dict[str, Any]:
    basis = entry.basis
    return {
        "gram": as_text(entry.gram[np.tril_indices(len(entry.gram))]),
        **{name: as_text(getattr(entry, name)) for name in ("counts", "cross")},
        "total": entry.total,
        "log_m": entry.log_m,
        "flat": [int(column) for column in basis.flat],
        "other": [int(column) for column in basis.other],
        **{name: as_text(getattr(basis, name)) for name in ("R", "y_on_flat", "other_on_flat")},
        "log_det": basis.log_det,
    }


def _from_entry(value: Mapping[str, Any]) -> CaseTables:
    cross = numbers(value["cross"])
    size = cross.shape[1]
    gram = np.zeros((size, size))
    gram[np.tril_indices(size)] = numbers(value["gram"])
    basis = Basis(
        flat=np.array(value["flat"], dtype=np.intp),
        other=np.array(value["other"], dtype=np.intp),
        R=numbers(value["R"]),
        y_on_flat=numbers(value["y_on_flat"]),
        other_on_flat=numbers(value["other_on_flat"]),
        log_det=value["log_det"],
    )
    return CaseTables(
        counts=numbers(value["counts"]),
        cross=cross,
        gram=gram + np.tril(gram, -1).T,
        total=value["total"],
        log_m=value["log_m"],
        basis=basis,
    )


def as_text(array: Array) -> dict[str, Any]:
    """An array with every bit, as text."""
    doubles = np.ascontiguousarray(array, dtype="<f8")
    return {"shape": list(np.shape(array)), "f8": base64.b64encode(doubles.tobytes()).decode("ascii")}


def numbers(value: Mapping[str, Any]) -> Array:
    """The array that a text of this module stands for.

    Examples
    --------
    >>> numbers({"shape": [2], "f8": "AAAAAAAA8D8AAAAAAAAAQA=="}).tolist()
    [1.0, 2.0]
    """
    flat = np.frombuffer(base64.b64decode(value["f8"]), dtype="<f8")
    return np.array(flat, dtype=np.float64).reshape(value["shape"])
