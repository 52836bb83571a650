"""What the user brings with a source to it, as a row of a file says it: a section, a rule of thumb, a price."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from burnlog import units, vocabulary
from burnlog.errors import InputError, ReadError
from burnlog.store.cutsheet import SheetRow
from burnlog.store.tablefile import Header

__all__ = ["DIMS", "CheckSection", "SectionLike", "SourcedValue", "sourced_value"]

DIMS = ("d", "b", "tw", "tf", "r", "od", "wall", "a", "h", "t", "w", "slope", "coating")
"""Columns of a section's dimensions."""

Detail = dict[str, Any]
Headers = Mapping[str, Header]


class SectionLike(Protocol):
    """A section of steel as `CheckSection` understood it: kind and dimensions [mm, deg]."""

    @property
    def kind(self) -> str: ...
    @property
    def dims(self) -> Mapping[str, float]: ...


CheckSection = Callable[[str, str, Mapping[str, str], str], SectionLike]
"""Called with designation, kind, dimensions as typed and source; raises `InputError` where they cannot be."""


@dataclass(frozen=True)
class SourcedValue:
    """One value as the log keeps it: a section has no number of its own, only detail."""

    kind: str
    name: str
    value: float | None
    unit: str | None
    detail: Detail


def sourced_value(row: SheetRow, source: str, headers: Headers, *, check: CheckSection | None) -> SourcedValue:
    """What a row says.

    Parameters
    ----------
    row : SheetRow
        Of a file of sections (`designation`), rules of thumb (`rule`) or prices (`what`).
    source : str
        Where the row says it comes from.
    headers : mapping
        Column -> header, which may carry the unit of bare numbers.
    check : Callable, optional
        Holds a section's dimensions against what is known of sections.

    Raises
    ------
    InputError
        It cannot be.
    """
    if "designation" in headers:
        name = str(row.get("designation").value)
        return SourcedValue("section", name, *_section(row, name, source, headers, check))
    if "rule" in headers:
        name = str(row.get("rule").value)
        return SourcedValue("rule", name, *_rule(row, name, headers))
    name = str(row.get("what").value)
    return SourcedValue("price", name, *_price(row, name))


def _section(
    row: SheetRow, name: str, source: str, headers: Headers, check: CheckSection | None
) -> tuple[None, None, Detail]:
    """A section: its kind and dimensions, held against what somebody above knows of sections."""
    kind = str(row.get("kind").value)
    texts = {}
    for dim in DIMS:
        text = row.get(dim).value
        if text is not None:
            unit = headers[dim].unit
            texts[dim] = f"{text} {unit}" if unit and str(text).replace(".", "").isdigit() else str(text)
    if check is not None:
        section = check(name, kind, texts, source)
        return None, None, {"kind": section.kind, "dims": dict(section.dims)}
    word = vocabulary.match(kind, "section_kind")
    dims = {}
    for dim, text in texts.items():
        dims[dim] = units.read(text, "angle" if dim == "slope" else "length").value
    if not dims:
        raise InputError(f"{name} has no dimensions")
    return None, None, {"kind": word, "dims": dims}


def _rule(row: SheetRow, name: str, headers: Headers) -> tuple[float, str, Detail]:
    """A rule of thumb in one unit: rods per metre, or seconds or kg per metre or rod."""
    value, per = str(row.get("value").value), str(row.get("per").value)
    detail = {
        column: row.get(cell).value
        for cell, column in (
            ("thickness_from", "thickness_from_mm"),
            ("thickness_to", "thickness_to_mm"),
            ("family", "family"),
        )
        if row.get(cell).value is not None
    }
    low, high = detail.get("thickness_from_mm"), detail.get("thickness_to_mm")
    if low is not None and high is not None and low > high:
        raise InputError(f"{name}: thickness_from is more than thickness_to")
    size, per_unit = _per(per)
    ends = []
    for text in _ends(value):
        amount, unit = _amount(text, headers["value"].unit)
        if unit == "mm" and per_unit == "rod":
            if amount == 0:
                raise InputError(f"{name}: no length per rod")
            ends.append((1000.0 * size / amount, "rods/m"))
        else:
            ends.append((amount / size, f"{unit}/{per_unit}"))
    if len(ends) == 1:
        return *ends[0], detail
    first, last = sorted(value for value, _ in ends)
    return 0.5 * (first + last), ends[0][1], {**detail, "low": first, "high": last}


def _price(row: SheetRow, name: str) -> tuple[float, str, Detail]:
    """A price in its currency, by what it is paid for."""
    currency, per = str(row.get("currency").value), row.get("per").value
    value = float(row.get("price").value)
    if not 0 <= value < 1e9:
        raise InputError(f"{name}: a price of {value:g} cannot be")
    unit = f"{currency}/{per}" if per is not None else currency
    if len(unit) > 20:
        raise InputError(f"{name}: currency and per are too long together (20 characters)")
    return value, unit, {"currency": currency, **({"per": per} if per is not None else {})}


def _ends(text: str) -> tuple[str, ...]:
    """A rule's two ends where it gives a range, `8-10 in` or `8 to 10 in`; a fraction is no range.

    Examples
    --------
    >>> _ends("8-10 in"), _ends("1-1/2 in")
    (('8 in', '10 in'), ('1-1/2 in',))
    """
    found = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*(?:-|to)\s*(\d+(?:\.\d+)?)(?![\d./])\s*([^\d/]*)", text)
    if found is None:
        return (text,)
    low, high, unit = found.groups()
    return (f"{low} {unit}".strip(), f"{high} {unit}".strip())


def _amount(text: str, header_unit: str | None) -> tuple[float, str]:
    """What a rule gives: rods, a length [mm], a time [s] or a mass [kg]."""
    for kind, unit in (("number", "rods"), ("rods", "rods"), ("length", "mm"), ("duration", "s"), ("mass", "kg")):
        try:
            reading = units.read(text, kind, unit=header_unit if kind not in ("number", "rods") else None)
        except ReadError:
            continue
        if reading.value is not None and not (kind == "number" and header_unit):
            return reading.value, unit
    raise InputError(
        f"'{text}' is not one value: write rods (1.4), a length (9 in), a time (3 min) or a mass (0.2 kg)"
    )


def _per(text: str) -> tuple[float, str]:
    """What it is given per: a rod, or a length [m]."""
    word = text.strip().lower().removeprefix("per ").strip()
    if word in ("rod", "rods"):
        return 1.0, "rod"
    try:
        value = units.read(word if word[:1].isdigit() else f"1 {word}", "length").value
    except ReadError:
        value = None
    if not value:
        raise InputError(f"per '{text}': write rod, ft, in, m or mm")
    return value / 1000.0, "m"
