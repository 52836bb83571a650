"""How people write numbers on a wet sheet: marks, fractions, blanks, and how sure they were.

The grammar stands apart from `units` because it knows no quantity: it turns `1-1/4`, `12,5`, `~7` or `7+` into
a number, the text after it and a basis, and says in plain words why a text is none of these. What the number
measures is the business of `units`.
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import NamedTuple

__all__ = [
    "LONGEST",
    "Amount",
    "Unreadable",
    "amount",
    "clean",
    "missing",
    "nothing",
    "number",
    "split_basis",
    "why_not",
]

LONGEST = 80
"""Characters a measured value may have; longer text is a remark in the wrong place."""

MOST_DIGITS = 18

NUMBER = r"(?:[0-9]+[ -][0-9]+/[0-9]+|[0-9]+/[0-9]+|[0-9]+(?:[.,][0-9]+)?|\.[0-9]+)"

_MARKS = {
    **dict.fromkeys("\u2018\u2019\u201b\u2032\u00b4`\u02b9\uff07", "'"),
    **dict.fromkeys("\u201c\u201d\u201f\u2033\u02ba\uff02", '"'),
    **dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2015\u2212\ufe63\uff0d", "-"),
    "\u2044": "/",
    "\u2215": "/",
    "\u00d7": "x",
    "\u00b0": "deg",
    "\u00ba": "deg",
    "\u2103": "degc",
    "\u2109": "degf",
    "\u2265": ">=",
    "\u2264": "<=",
    "\u2248": "~",
    "\u00bc": " 1/4 ",  # spaced on both sides, so that digits beside it cannot join it
    "\u00bd": " 1/2 ",
    "\u00be": " 3/4 ",
    "\u2153": " 1/3 ",
    "\u2154": " 2/3 ",
    "\u215b": " 1/8 ",
    "\u215c": " 3/8 ",
    "\u215d": " 5/8 ",
    "\u215e": " 7/8 ",
}
_TRANSLATION = str.maketrans(_MARKS)

_NOTHING = frozenset(("", "-", "?", "nr"))
_MISSING = {
    **dict.fromkeys(_NOTHING, "not recorded"),
    "not recorded": "not recorded",
    "na": "does not apply",
    "n/a": "does not apply",
    "does not apply": "does not apply",
}

_AMOUNT = re.compile(rf"({NUMBER})\s*(.*)")
_BEFORE = re.compile(r"(~|about |est\.? |>=?|<=?|at least |at most )\s*(.*)")
_AFTER = re.compile(r"(.*?)\s*(\+|(?<=[0-9a-z\"' .])est\.?|(?<=[0-9a-z\"' .])estimated)")
_PLUS_INSIDE = re.compile(rf"({NUMBER})\+\s*([a-z\"'%].*)")
_UNMARKED = re.compile(r"[0-9.][0-9./, -]*[a-df-z\"'%]*")  # most cells: a number and a unit without an `e`
_BASIS = {
    "~": "estimated",
    "about": "estimated",
    "est": "estimated",
    "estimated": "estimated",
    "+": "at least",
    ">": "at least",
    ">=": "at least",
    "at least": "at least",
    "<": "at most",
    "<=": "at most",
    "at most": "at most",
}


class Unreadable(Exception):  # noqa: N818 - never leaves the ground files: `units` turns it into a ReadError
    """Why a text is not what was expected, as the middle of a sentence."""


class Amount(NamedTuple):
    """An exact number and whatever stood behind it.

    `fraction` is True where it was written with a slash; `comma` where it had a decimal comma.
    """

    value: Fraction
    unit: str
    fraction: bool
    comma: bool


def clean(text: str) -> str:
    """One spelling for every mark: straight quotes, plain dashes, spaced fractions, single spaces, lower case.

    >>> clean(" 1\\u00bc\\u201d ")
    '1 1/4 "'
    """
    if not text.isascii():
        text = text.translate(_TRANSLATION).replace("ft\u00b3", "ft3").replace("- ", "-")
    text = " ".join(text.lower().split())
    return text.replace("''", '"') if "''" in text else text


def missing(core: str) -> str | None:
    """The basis a blank stands for, or None where the text is not a blank.

    >>> missing("?"), missing("na"), missing("0")
    ('not recorded', 'does not apply', None)
    """
    return _MISSING.get(core)


def nothing(text: str) -> bool:
    """Whether a text is one of the marks for *nothing was written* that every field takes, codes and remarks too.

    >>> nothing(" NR "), nothing("-"), nothing("na")
    (True, True, False)
    """
    return text.strip().lower() in _NOTHING


def split_basis(core: str) -> tuple[str, str]:
    """Take `~`, `est`, `+`, `>` or `<` off and say what they mean.

    >>> split_basis("~7"), split_basis("7+"), split_basis("20+ min"), split_basis("7")
    (('7', 'estimated'), ('7', 'at least'), ('20 min', 'at least'), ('7', 'measured'))
    """
    if _UNMARKED.fullmatch(core):
        return core, "measured"
    basis = ""
    if match := _BEFORE.fullmatch(core):
        basis, core = _BASIS[match[1].strip(" .")], match[2]
    if match := _AFTER.fullmatch(core):
        if basis:
            raise Unreadable("carries two marks: write either about (`~7`) or at least (`7+`)")
        basis, core = _BASIS[match[2].strip(".")], match[1]
    elif match := _PLUS_INSIDE.fullmatch(core):
        if basis:
            raise Unreadable("carries two marks: write either about (`~7`) or at least (`7+`)")
        basis, core = "at least", f"{match[1]} {match[2]}"
    if basis and not core:
        raise Unreadable("is a mark without a number")
    return core, basis or "measured"


def number(text: str) -> Fraction:
    """The exact value of one number: whole, decimal, decimal comma, fraction or mixed number.

    Raises
    ------
    Unreadable
        A zero denominator or one no rule has, a mixed number whose fraction is 1 or more, a comma that may part
        thousands, or more digits than anybody measured.
    """
    if len(text) > MOST_DIGITS + 4:
        raise Unreadable("has more digits than anybody measured")
    if "/" in text:
        whole, _, fraction = text.replace("-", " ").rpartition(" ")
        top, bottom = fraction.split("/")
        if int(bottom) == 0:
            raise Unreadable("divides by zero")
        if int(bottom) not in _PARTS:
            raise Unreadable(
                f"is in parts of {int(bottom)}, and a rule has 2, 4, 8, 16, 32 or 64 of them to the inch"
            )
        if whole and int(top) >= int(bottom):
            raise Unreadable("is not a mixed number: its fraction must be under 1, as in `1-1/4`")
        return int(whole or 0) + Fraction(int(top), int(bottom))
    if "," in text:
        head, tail = text.split(",")
        if len(tail) == 3:
            raise Unreadable(
                f"has two readings: {head}{tail} with a comma between thousands, or {head}.{tail} with a "
                f"decimal comma; write {head}{tail} or {head}.{tail}"
            )
        return _decimal(head, tail)
    head, _, tail = text.partition(".")
    return _decimal(head, tail)


def _decimal(head: str, tail: str) -> Fraction:
    return Fraction(int(head + tail), 10 ** len(tail))


_PARTS = frozenset((2, 3, 4, 5, 6, 8, 10, 12, 16, 32, 64, 100))
"""Parts a whole is told in: those of a rule, and those of a count of rods."""


def amount(core: str) -> Amount | None:
    """A number and the text behind it, or None where the text does not begin with a number.

    >>> amount("1-1/4 in")
    Amount(value=Fraction(5, 4), unit='in', fraction=True, comma=False)
    """
    match = _AMOUNT.fullmatch(core)
    if match is None:
        return None
    written, unit = match[1], match[2]
    if unit[:1] in _NOT_A_UNIT:
        return None
    return Amount(number(written), unit, "/" in written, "," in written)


_NOT_A_UNIT = frozenset("0123456789.,-/_+")  # membership of "" is False: a bare number has the empty unit

_REASONS = (
    (re.compile(r"[+-]?(nan|inf|infinity)\b.*"), "is not a number anybody measured"),
    (re.compile(r".*[0-9]_[0-9].*"), "has an underscore inside a number"),
    (re.compile(r"[+-]?[0-9.,]+e[+-]?[0-9]+.*"), "is in powers of ten; write the number out"),
    (re.compile(r"[0-9 -]*[0-9]/(?![0-9]).*"), "is a fraction without a lower half"),
    (re.compile(r"(?:[0-9]+[ -])?/[0-9].*"), "is a fraction without an upper half"),
    (re.compile(r"-\s*[0-9.].*"), "is negative, and this cannot be"),
    (re.compile(r"\+\s*[0-9.].*"), "begins with a plus; at least seven is written `7+`"),
    (re.compile(r"[0-9]+(?:[.,][0-9]{3})+[.,][0-9]+.*"), "has marks between thousands; write the digits alone"),
    (re.compile(r"[0-9]+(?:[,.][0-9]+){2,}.*"), "has more than one decimal mark"),
    (re.compile(r"[0-9.,]+(?: [0-9.,]+)+(?![0-9/]).*"), "has a space inside a number"),
    (re.compile(r".*[0-9]\s*[a-z\"']*\s*(?:-|\bto\b|\.\.)\s*[0-9.].*"), "is a range, and one value is wanted"),
    (re.compile(r".*[0-9]\+-.*"), "has a plus and a minus; a guess is written `~7`, at least seven `7+`"),
    (re.compile(r"\."), "means the same as the row above, and can be used at the entry prompt only"),
)


def why_not(core: str) -> str:
    """The plainest reason why a text is not a number, as the middle of a sentence; empty where none is known.

    >>> why_not("5/")
    'is a fraction without a lower half'
    """
    for pattern, reason in _REASONS:
        if pattern.fullmatch(core):
            return reason
    return ""
