"""The closed word lists: free words cannot be counted.

Most words are common practice without a source, and each word says so; the defects and events carry the document
that uses them. A word is stored as it stands here; longer forms people write are aliases. Every list also takes
``other: text``, kept as typed, and a blank, which is *not recorded*. The bands group burns; they are no limits.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from burnlog.errors import ReadError

__all__ = ["LISTS", "Word", "WordList", "match", "match_many", "words"]

PRACTICE = "common practice, no source"
NAVY = "us-navy-cutting-manual"
OURS = "burnlog"


@dataclass(frozen=True)
class Word:
    """One word: what it means, where that comes from (a key of `burnlog.sources` or *common practice, no source*)."""

    word: str
    meaning: str
    source: str = PRACTICE
    aliases: tuple[str, ...] = ()


@dataclass(frozen=True)
class WordList:
    """A closed list and what it describes. `open` lists also take ``other: text``."""

    name: str
    about: str
    words: tuple[Word, ...]
    open: bool = True

    def __contains__(self, word: object) -> bool:
        return any(entry.word == word for entry in self.words)


def _list(name: str, about: str, *entries: Word | str, open: bool = True) -> tuple[str, WordList]:
    found = tuple(entry if isinstance(entry, Word) else Word(entry, entry) for entry in entries)
    return name, WordList(name, about, found, open)


LISTS: Mapping[str, WordList] = dict(
    (
        _list(
            "position",
            "how the cut runs",
            Word("flat", "from above onto a flat face", aliases=("flat from above",)),
            Word("horizontal", "a level line on an upright face", aliases=("horizontal line on upright face",)),
            Word("vertical down", "an upright line, going down", aliases=("upright line going down",)),
            Word("vertical up", "an upright line, going up", aliases=("upright line going up",)),
            Word("overhead", "from below"),
            Word("round a pipe", "round a pipe or pile", aliases=("round", "pipe")),
        ),
        _list("access", "room to work", "open", "restricted", "by feel"),
        _list(
            "visibility",
            "how far the diver sees",
            Word("by feel", "none", aliases=("none", "none, by feel", "nil", "zero")),
            Word("under 1 ft", "under 0.3 m", aliases=("under 1 ft (0.3 m)", "under 0.3 m")),
            Word("1-3 ft", "0.3 to 1 m", aliases=("1-3 ft (0.3-1 m)", "0.3-1 m")),
            Word("3-10 ft", "1 to 3 m", aliases=("3-10 ft (1-3 m)", "1-3 m")),
            Word("over 10 ft", "over 3 m", aliases=("over 10 ft (3 m)", "over 3 m")),
        ),
        _list(
            "current",
            "water going past",
            Word("none", "none felt"),
            Word("light", "under 0.5 kn (0.25 m/s)"),
            Word("moderate", "0.5 to 1 kn (0.25 to 0.5 m/s)"),
            Word("strong", "over 1 kn (0.5 m/s)"),
        ),
        _list("surge", "water going to and fro", "none", "some", "hard"),
        _list(
            "fouling",
            "what is on the steel where it is burned",
            Word("bare", "bare or mill scale", NAVY, ("bare or mill scale", "mill scale")),
            Word("thin paint", "one or two thin coats", NAVY),
            Word("thick coating", "thick paint or wrap that must go", NAVY),
            Word("soft growth", "weed, slime"),
            Word("hard growth", "barnacle, mussel"),
            Word("heavy rust", "thick scale", NAVY),
            Word("concrete or wrap", "concrete, tape or wrap"),
        ),
        _list("cleaned", "which faces were cleaned", "none", "near face", "both faces", "not needed"),
        _list(
            "backing",
            "what stands behind the steel",
            Word("open water", "the jet blows free"),
            Word("mud or soil", "mud or soil behind", NAVY, ("mud", "soil")),
            Word("concrete or grout", "concrete or grout behind", NAVY, ("concrete", "grout")),
            Word("second plate", "a second thickness of steel behind"),
            Word("unknown", "nobody could say"),
        ),
        _list(
            "material",
            "what the steel is; only carbon and high-strength steel are fitted together",
            "carbon steel",
            "high-strength steel",
            "stainless steel",
            "cast iron",
            "non-ferrous",
            "unknown",
        ),
        _list(
            "family",
            "kind of rod",
            Word("exothermic", "goes on burning while oxygen flows, with the current off", NAVY),
            Word(
                "tubular",
                "steel tube with a flux coat; stops when the circuit opens",
                NAVY,
                ("tubular steel arc", "tubular steel"),
            ),
        ),
        _list("power", "current while burning", "on", "off", "mixed"),
        _list(
            "setting",
            "where it was burned; never pooled",
            Word("open water", "work or training in open water"),
            Word("test tank", "in a tank", aliases=("tank",)),
            Word("dry practice", "on deck, no water", aliases=("dry practice on deck", "dry")),
            open=False,
        ),
        _list(
            "record_class",
            "what the burn was for; never pooled",
            Word("production", "paid work"),
            Word("training", "a class or a trainee"),
            Word("trial", "a test of gear or method"),
            open=False,
        ),
        _list(
            "purpose",
            "what the job is for",
            "pile cut-off",
            "sheet-pile cut-off",
            "wreck or salvage",
            "structure removal",
            "access opening",
            "repair",
            "training",
            "trial",
        ),
        _list(
            "pass_kind",
            "which time over this line; only a first pass makes new length",
            Word("first", "severs for the first time"),
            Word("re-burn", "a second pass over cut steel", aliases=("reburn", "again")),
            Word("hanger", "frees a bit left uncut"),
            Word("pierce", "makes the starting hole only"),
            Word("trial", "a trial burn"),
            open=False,
        ),
        _list(
            "outcome",
            "what came of the cut",
            Word("through", "severed", aliases=("yes",)),
            Word("through with hangers", "severed but for bits that still hold"),
            Word("part way", "some of the length severed", aliases=("part",)),
            Word("not through", "burned, not severed", aliases=("no",)),
            Word("abandoned", "given up"),
            Word("unknown", "nobody looked"),
            open=False,
        ),
        _list(
            "edge",
            "the cut edge",
            Word("clean", "smooth"),
            Word("rough", "uneven, kerf open"),
            Word("ragged", "torn, not through in places, or kerf clogged"),
            Word("not seen", "nobody could look"),
            open=False,
        ),
        _list(
            "defect",
            "what was wrong with a cut",
            Word("not through", "steel left over a length"),
            Word("hanger left", "a bit left that holds the piece"),
            Word("clogged kerf", "slag not blown through", NAVY),
            Word("back-flare", "flame comes back at the diver", NAVY),
            Word("wandered off line", "left the marked line"),
            Word("gouge or wide kerf", "too much steel gone"),
            Word("double cut", "two kerfs side by side"),
            Word("rod stuck", "rod welded to the work or stuck in the collet"),
            Word("rod would not light", "no burn after the first touch", "imca-sf-05-04"),
            Word("arc lost", "burn went out"),
            Word("burned short", "rod burned below its planned stub", NAVY),
        ),
        _list(
            "event",
            "what happened besides cutting",
            Word("oxygen sag", "delivered pressure fell while gas flowed"),
            Word("bank change-over", "another bank was put on"),
            Word("regulator froze", "ice at the regulator"),
            Word("arrestor clogged", "flash arrestor or screen clogged", NAVY),
            Word("hose leak", "oxygen hose leaked"),
            Word("bubbles along cable", "leakage along a power cable", NAVY),
            Word("blow-back", "molten metal thrown back", NAVY),
            Word("fire into the torch", "fire came up the rod"),
            Word("pop or bang", "small explosion", aliases=("pop", "bang")),
            Word("shock or tingle", "current felt", aliases=("shock", "tingle")),
            Word("voice lost", "no voice with the diver"),
            Word("clamp moved", "ground clamp moved"),
            Word("switch fault", "knife switch failed"),
            Word("oil or grease near oxygen", "found near oxygen parts", NAVY),
            Word("gas found in a closed space", "found before or while burning"),
        ),
        _list(
            "event_outcome",
            "what came of an event",
            "nothing further",
            "near miss",
            "harm",
            "equipment lost",
            "unknown",
        ),
        _list(
            "stoppage",
            "why a cut stood still",
            Word("oxygen", "waiting for oxygen"),
            Word("power", "waiting for power"),
            Word("rods ran out", "no rods at hand"),
            Word("crane or rigging", "waiting for a lift", aliases=("crane", "rigging")),
            Word("current or tide", "water too strong", aliases=("current", "tide")),
            Word("visibility", "nothing to be seen"),
            Word("voice", "no voice"),
            Word("diver rest", "rest"),
            Word("change of diver", "another diver took over"),
            Word("other traffic", "boats, other work"),
            Word("weather", "weather"),
            Word("work inspection", "somebody looked at the work"),
            Word("not recorded", "stood still, cause not written"),
        ),
        _list(
            "basis",
            "how a value came to be",
            *(
                Word(word, word, OURS)
                for word in (
                    "measured",
                    "drawing",
                    "computed",
                    "estimated",
                    "at least",
                    "at most",
                    "not recorded",
                    "does not apply",
                )
            ),
            open=False,
        ),
        _list(
            "hangers_at",
            "where on the line hangers were left",
            Word("at a rod change", "where one rod ended and the next began"),
            Word("at the start", "where the line was begun"),
            Word("at the end", "where the line ended", aliases=("at the end of the line",)),
            Word("mid-line", "anywhere else", aliases=("midline",)),
            Word("not known", "nobody could say"),
        ),
        _list(
            "technique",
            "what an instructor saw",
            *(
                Word(word, word, OURS)
                for word in (
                    "hurried start",
                    "hurried finish",
                    "uneven travel",
                    "contact lost",
                    "far side not through",
                    "next start not prepared",
                    "body in line with the cut",
                )
            ),
        ),
        _list("water", "water of the job", "salt", "fresh", "brackish", "none", open=False),
        _list(
            "closed_space",
            "whether the piece could hold gas; prints the caution, decides nothing",
            "open",
            Word("closed or could hold gas", "closed, or nobody can rule gas out", aliases=("closed",)),
            "unknown",
            open=False,
        ),
        _list(
            "section_kind",
            "shape of the piece",
            "plate",
            "pipe",
            "h section",
            "channel",
            "angle",
            "box",
            "flat sheet",
            "z sheet",
            "u sheet",
            "bar",
        ),
        _list("units_profile", "how its people read numbers", "us", "metric", open=False),
        _list("role", "what a person does", "diver", "tender", "supervisor", "trainee", "instructor"),
        _list("power_kind", "source of current", "welding set", "battery"),
        _list(
            "contents_route",
            "how a bank's contents are known",
            "label volume",
            "water volume real gas",
            "weighed",
            open=False,
        ),
        _list(
            "reading_reason",
            "why a gauge was read",
            "start",
            "end",
            "change-over",
            "spot",
            "series",
            open=False,
        ),
        _list("tally_scope", "what a count of rods covers", "cut", "cuts", "dive", "day", "box", open=False),
        _list("decision", "what was decided about a flag", "keep", "data-error", "leave-out", open=False),
        _list("line_state", "what somebody said of a line", "abandoned", "removed another way", open=False),
    )
)
"""Word lists by name."""


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
    core = " ".join(text.strip().lower().split())
    if core in ("", "-", "?", "nr", "not recorded", "na", "n/a"):
        return "not recorded" if core == "not recorded" and "not recorded" in found else None
    spoken = {entry.word: entry.word for entry in found.words}
    spoken.update({alias: entry.word for entry in found.words for alias in entry.aliases})
    if core in spoken:
        return spoken[core]
    if core.startswith("other:"):
        rest = text.strip()[len("other:") :].strip()
        if found.open and rest:
            return f"other: {rest[:100]}"
        if not found.open:
            raise ReadError(f"{name} takes no other words than {', '.join(words(name))}", text=text, kind=name)
        raise ReadError("'other:' needs the word behind it, as in 'other: tar'", text=text, kind=name)
    hits = sorted({word for spelling, word in spoken.items() if spelling.startswith(core)})
    if len(hits) == 1:
        return hits[0]
    label = name.replace("_", " ")
    if hits:
        raise ReadError(f"'{text.strip()}' could be {' or '.join(hits)}; type more of it", text=text, kind=name)
    near = difflib.get_close_matches(core, spoken, n=6, cutoff=0.0)
    nearest = list(dict.fromkeys(spoken[spelling] for spelling in near))[:3]
    tail = "; or 'other: your word'" if found.open else ""
    raise ReadError(
        f"'{text.strip()[:40]}' is not a {label}; the nearest are {', '.join(nearest)}{tail}", text=text, kind=name
    )


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
        if not core or core in ("-", "?", "nr"):
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
