"""Finds the word a typed text stands for: free words cannot be counted.

A list takes its words whole, by a prefix that fits only one, or by an alias, whatever the case; most lists also take
``other: text``, kept as typed; a blank is *not recorded*. The lists stand in `wordlists`.
"""

from __future__ import annotations

import difflib
from functools import lru_cache

from burnlog.errors import ReadError
from burnlog.notation import clean, missing, nothing
from burnlog.wordlists import LISTS, PRACTICE, Word, WordList

__all__ = ["LISTS", "PRACTICE", "Word", "WordList", "match", "match_many", "words"]

LONGEST_OTHER = 100
LONGEST = 200


def words(name: str) -> tuple[str, ...]:
    """The words of a list, in order."""
    return tuple(entry.word for entry in LISTS[name].words)


@lru_cache(maxsize=16384)  # a sheet repeats its words row after row
def match(text: str, name: str) -> str | None:
    """The word of a list that a text stands for.

    Parameters
    ----------
    text : str
        A word, its alias, or a prefix that fits only one; case does not matter. Blank, `-`, `?`, `nr` are None.
    name : str
        Entry of `LISTS`.

    Returns
    -------
    str or None

    Raises
    ------
    ReadError
        Unknown (with the nearest three) or a prefix of several (with all of them).

    Examples
    --------
    >>> match("through w", "outcome")
    'through with hangers'
    """
    found = LISTS[name]
    if len(text) > LONGEST:
        raise ReadError(f"'{text[:20]}...' is {len(text)} characters long, and no word is", text=text[:40], kind=name)
    core = clean(text)
    if (absent := missing(core)) is not None:
        return absent if core == absent and absent in found else None
    spoken = {entry.word: entry.word for entry in found.words}
    spoken.update({alias: entry.word for entry in found.words for alias in entry.aliases})
    if core in spoken:
        return spoken[core]
    if core == "other" or core.startswith("other:"):
        return _other(text, found)
    hits = sorted({word for spelling, word in spoken.items() if spelling.startswith(core)})
    if len(hits) == 1:
        return hits[0]
    label = name.replace("_", " ")
    if hits:
        raise ReadError(f"'{text.strip()}' could be {' or '.join(hits)}; type more of it", text=text, kind=name)
    near = difflib.get_close_matches(core, spoken, n=len(spoken), cutoff=0.0)
    nearest = list(dict.fromkeys(spoken[spelling] for spelling in near))[:3]
    tail = "; or 'other: your word'" if found.open else ""
    raise ReadError(
        f"'{text.strip()[:40]}' is no word for {label}; the nearest are {', '.join(nearest)}{tail}",
        text=text,
        kind=name,
    )


def _other(text: str, found: WordList) -> str:
    """A word of the writer's own, kept as typed; refused where the list is closed to them."""
    rest = text.strip()[len("other:") :].strip()
    if not found.open:
        raise ReadError(
            f"{found.name} takes no other words than {', '.join(words(found.name))}", text=text, kind=found.name
        )
    if not rest:
        raise ReadError("'other:' needs the word behind it, as in 'other: tar'", text=text, kind=found.name)
    if len(rest) > LONGEST_OTHER:
        raise ReadError(
            f"'other:' takes {LONGEST_OTHER} characters and has {len(rest)}; put the rest under remark",
            text=text,
            kind=found.name,
        )
    return f"other: {rest}"


def match_many(text: str, name: str) -> tuple[tuple[str, str], ...]:
    """Words parted by `;`, each with what stood behind it: a count such as `x2`, or a time such as `5min`.

    Returns
    -------
    tuple of (word, rest)

    Examples
    --------
    >>> match_many("clogged kerf; rod stuck x2", "defect")
    (('clogged kerf', ''), ('rod stuck', 'x2'))
    >>> match_many("crane 5min; power 2 min", "stoppage")
    (('crane or rigging', '5min'), ('power', '2 min'))
    """
    found = []
    for part in text.split(";"):
        core = part.strip()
        if nothing(core):
            continue
        if core.lower().startswith("other:"):
            found.append((str(match(core, name)), ""))
            continue
        head, rest = _split_tail(core)
        word = match(head, name)
        if word is not None:
            found.append((word, rest))
    return tuple(found)


def _split_tail(core: str) -> tuple[str, str]:
    """The words, and the count or time behind them."""
    pieces = core.split()
    for place, piece in enumerate(pieces):
        if place and (piece[0].isdigit() or piece[0] in "~<>" or (piece[0] in "xX" and piece[1:].isdigit())):
            return " ".join(pieces[:place]), " ".join(pieces[place:])
    return core, ""
