"""What a section's name says: its size, where it has one, and its shape.

`plate` or `scrap plate` is a shape with any thickness; `HP14x117`, `PL12` or `pipe 24 in` is one rolled size. Letters
before a size are those of ASTM A6, EN 10365 and common sheet piles, from memory; a name they do not explain has no
shape.
"""

from __future__ import annotations

import re

import pandas as pd

from burnlog.vocabulary import LISTS

__all__ = ["names_a_size", "shape_of", "shapes"]

LETTERS = {
    "h section": ("HP", "HE", "HEA", "HEB", "HEM", "IPE", "UB", "UBP", "UC", "W", "S", "M"),
    "channel": ("C", "MC", "UPN", "UPE", "PFC"),
    "angle": ("L",),
    "box": ("HSS", "RHS", "SHS"),
    "pipe": ("CHS",),
    "plate": ("PL",),
    "z sheet": ("Z", "AZ", "PZ"),
    "u sheet": ("AU", "PU"),
    "flat sheet": ("AS", "PS"),
}
_BY_LETTERS = {word: shape for shape, words in LETTERS.items() for word in words}
_WORDS = {
    name: word.word
    for word in LISTS["section_kind"].words
    for name in (word.word, *word.aliases)
}  # fmt: skip


def names_a_size(section: pd.Series[str]) -> pd.Series[bool]:
    """Whether each name says a size: it holds a figure. A bare shape word, or no name, does not.

    Examples
    --------
    >>> names_a_size(pd.Series(["plate", "HP14x117", None, "pipe 24 in"])).tolist()
    [False, True, False, True]
    """
    return section.astype("string").str.contains(r"\d", na=False).astype(bool)


def shape_of(section: str) -> str | None:
    """The shape a section's name says, in the words of the list, or None.

    Examples
    --------
    >>> shape_of("HP14x117"), shape_of("pipe 24 in"), shape_of("scrap plate"), shape_of("G-7")
    ('h section', 'pipe', 'plate', None)
    """
    said = section.strip().lower()
    letters = re.match(r"([a-z]+)[ -]?\d", said)
    if letters and letters[1].upper() in _BY_LETTERS:
        return _BY_LETTERS[letters[1].upper()]
    found = [word for word in _WORDS if re.search(rf"(?<![a-z]){re.escape(word)}(?![a-z])", said)]
    return _WORDS[max(found, key=len)] if found else None


def shapes(pieces: pd.DataFrame) -> pd.Series[str]:
    """Shape of each piece: as written, else as its section's name says; missing where neither does.

    Parameters
    ----------
    pieces : DataFrame
        With `section_kind` and `section`.
    """
    said = {name: shape_of(str(name)) for name in pieces["section"].dropna().unique()}
    return pieces["section_kind"].fillna(pieces["section"].map(said).astype(pieces["section_kind"].dtype))
