"""The closed word lists themselves: each word, what it means, where it comes from.

Most words are common practice without a source, and each says so; defects and events carry the document that uses
them. A word is stored as it stands here; longer forms people write are aliases. Bands group burns; they are no limits
for working. How a typed text finds its word stands in `vocabulary`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

__all__ = ["LISTS", "PRACTICE", "Word", "WordList"]

PRACTICE = "common practice, no source"
NAVY = "us-navy-cutting-manual"
OURS = "burnlog"


@dataclass(frozen=True)
class Word:
    """One word, what it means, and where that comes from.

    `source` is a key of `burnlog.sources` or *common practice, no source*; `aliases` are longer or older forms.
    """

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


def _list(name: str, about: str, *entries: Word, open: bool = True) -> tuple[str, WordList]:
    return name, WordList(name, about, entries, open)


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
        _list(
            "access",
            "room to work",
            Word("open", "the torch reaches the line from any side"),
            Word("restricted", "something is in the way of the torch or the diver"),
            Word("by feel", "reached, but not seen"),
        ),
        _list(
            "visibility",
            "how far the diver sees",
            Word("by feel", "nothing is seen", aliases=("none", "none, by feel", "nil", "zero")),
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
        _list(
            "surge",
            "water going to and fro",
            Word("none", "none felt"),
            Word("some", "felt, and the torch can be held on the line"),
            Word("hard", "takes the torch off the line"),
        ),
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
        _list(
            "cleaned",
            "which faces were cleaned",
            Word("none", "neither face"),
            Word("near face", "the diver's side only"),
            Word("both faces", "near and far side", NAVY),
            Word("not needed", "the steel was bare"),
        ),
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
            Word("carbon steel", "mild and structural steel", aliases=("mild steel",)),
            Word("high-strength steel", "structural steel of higher grade", aliases=("high strength steel",)),
            Word("stainless steel", "chromium steel", NAVY),
            Word("cast iron", "grey or ductile iron", NAVY),
            Word("non-ferrous", "bronze, copper, aluminium and the like", NAVY, ("nonferrous",)),
            Word("unknown", "nobody could say"),
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
        _list(
            "power",
            "current while burning; more length to a rod with it on",
            Word("on", "switch closed while the rod burned", "uct-techniques"),
            Word("off", "lit, then burned on oxygen alone", "uct-techniques"),
            Word("mixed", "some of each"),
        ),
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
            Word("pile cut-off", "bearing piles"),
            Word("sheet-pile cut-off", "sheet-pile wall or cofferdam"),
            Word("wreck or salvage", "a wreck, a sunken barge"),
            Word("structure removal", "jacket, dolphin, brace, caisson"),
            Word("access opening", "a way in"),
            Word("repair", "damaged steel taken off before a repair"),
            Word("training", "a class"),
            Word("trial", "a test of gear or method"),
        ),
        _list(
            "pass_kind",
            "which time over this line; only a first pass makes new length",
            Word("first", "severs for the first time", aliases=("first pass",)),
            Word("re-burn", "a second pass over cut steel", aliases=("reburn", "again")),
            Word("hanger", "frees a bit of steel left uncut that still holds the piece"),
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
            Word("not through", "steel left over a length", NAVY, ("incomplete cut",)),
            Word("hanger left", "a bit left that holds the piece"),
            Word("clogged kerf", "slag not blown through", NAVY),
            Word("back-flare", "flame comes back at the diver", NAVY),
            Word("wandered off line", "left the marked line"),
            Word("gouge or wide kerf", "too much steel gone"),
            Word("double cut", "two kerfs side by side, or a second pass that was not planned"),
            Word("rod stuck", "rod welded to the work or stuck in the collet", "diver-page"),
            Word("rod would not light", "no burn after the first touch", "imca-sf-05-04"),
            Word("arc lost", "burn went out", "imca-sf-05-04"),
            Word("burned short", "rod burned below its planned stub", NAVY),
        ),
        _list(
            "event",
            "what happened besides cutting",
            Word("oxygen sag", "delivered pressure fell while gas flowed"),
            Word("bank change-over", "another bank was put on"),
            Word("regulator froze", "ice at the regulator", "riversprojects"),
            Word("arrestor clogged", "flash arrestor or screen clogged", NAVY),
            Word("hose leak", "oxygen hose leaked"),
            Word("bubbles along cable", "leakage along a power cable", NAVY),
            Word("blow-back", "molten metal thrown back", NAVY),
            Word("fire into the torch", "fire came up the rod", "diver-page", ("flashback", "backflash")),
            Word("pop or bang", "small explosion of gas or steam", "hermans-2021", ("pop", "bang")),
            Word("shock or tingle", "current felt", aliases=("shock", "tingle")),
            Word("voice lost", "no voice with the diver"),
            Word("clamp moved", "ground clamp moved or came loose"),
            Word("switch fault", "safety switch failed to open or close"),
            Word("oil or grease near oxygen", "found near oxygen parts", NAVY),
            Word("gas found in a closed space", "found before or while burning", "imca-near-miss"),
        ),
        _list(
            "event_outcome",
            "what came of an event",
            Word("nothing further", "it ended there"),
            Word("near miss", "could have hurt somebody"),
            Word("harm", "somebody was hurt; details stand in the company's own report"),
            Word("equipment lost", "gear destroyed or lost"),
            Word("unknown", "not known"),
        ),
        _list(
            "stoppage",
            "why a cut stood still",
            Word("oxygen", "waiting for oxygen"),
            Word("power", "waiting for power"),
            Word("rods ran out", "no rods at hand"),
            Word("crane or rigging", "waiting for a lift", aliases=("crane", "rigging")),
            Word("current or tide", "water too strong", aliases=("current", "tide")),
            Word("visibility", "waiting until the work could be seen"),
            Word("voice", "no voice"),
            Word("diver rest", "the diver rested"),
            Word("change of diver", "another diver took over"),
            Word("other traffic", "boats, other work"),
            Word("weather", "wind, sea or lightning stopped the work"),
            Word("work inspection", "somebody looked at the work"),
            Word("not recorded", "stood still, cause not written"),
        ),
        _list(
            "basis",
            "how a value came to be",
            Word("measured", "read off a tape, a gauge or a clock, or counted", OURS),
            Word("drawing", "taken from a drawing or a table", OURS),
            Word("computed", "computed from other values", OURS),
            Word("estimated", "somebody's guess; typed as `~7` or `7 est`", OURS),
            Word("at least", "a lower bound; typed as `7+`", OURS),
            Word("at most", "an upper bound; typed as `<7`", OURS),
            Word("not recorded", "blank on the sheet", OURS),
            Word("does not apply", "typed as `na`", OURS),
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
            Word("hurried start", "travel began before the burn was through", OURS),
            Word("hurried finish", "the last stretch left thin or hanging", OURS),
            Word("uneven travel", "now fast, now standing still", OURS),
            Word("contact lost", "rod lifted off the steel while burning", OURS),
            Word("far side not through", "near face cut, far face not", OURS),
            Word("next start not prepared", "no lead left for the next rod", OURS),
            Word("body in line with the cut", "diver where molten metal goes", OURS),
        ),
        _list(
            "water",
            "water of the job; turns feet and metres of depth into pressure",
            Word("salt", "sea water", aliases=("sea", "sea water", "salt water")),
            Word("fresh", "river, lake or tank", aliases=("fresh water",)),
            Word("brackish", "between: depth is typed in fsw or msw"),
            Word("none", "dry practice on deck", aliases=("dry",)),
            open=False,
        ),
        _list(
            "closed_space",
            "whether the piece could hold gas; prints the caution, decides nothing",
            Word("open", "water passes through it freely"),
            Word("closed or could hold gas", "closed, or nobody can rule gas out", "osha-1910-422", ("closed",)),
            Word("unknown", "nobody could say"),
            open=False,
        ),
        _list(
            "section_kind",
            "shape of the piece",
            Word("plate", "flat plate, also a hole or window in it"),
            Word("pipe", "pipe or round pile", aliases=("tube",)),
            Word("h section", "H, I, W or HP", aliases=("h pile", "h-pile", "h-section", "i section", "w section")),
            Word("channel", "web and two flanges to one side"),
            Word("angle", "two legs"),
            Word("box", "rectangular hollow section", aliases=("rectangular hollow",)),
            Word("flat sheet", "straight-web sheet pile"),
            Word("z sheet", "Z sheet pile", aliases=("z-sheet",)),
            Word("u sheet", "U sheet pile", aliases=("u-sheet",)),
            Word("bar", "solid bar; its length is taped"),
        ),
        _list(
            "units_profile",
            "how its people read numbers",
            Word("us", "feet, inches, fsw, psi, F"),
            Word("metric", "m, mm, msw, bar, C"),
            open=False,
        ),
        _list(
            "role",
            "what a person does",
            Word("diver", "holds the torch"),
            Word("tender", "keeps the sheet or the switch"),
            Word("supervisor", "runs the dive"),
            Word("trainee", "learns"),
            Word("instructor", "teaches"),
        ),
        _list(
            "power_kind",
            "source of current",
            Word("welding set", "direct current from a welding machine", NAVY),
            Word("battery", "lights an exothermic rod", "uct-techniques"),
        ),
        _list(
            "contents_route",
            "how a bank's contents are known",
            Word("label volume", "volume on the label, by gauge proportion"),
            Word("water volume real gas", "litres of water and a pressure, by the density of the real gas"),
            Word("weighed", "kg on a scale or a certificate"),
            open=False,
        ),
        _list(
            "reading_reason",
            "why a gauge was read",
            Word("start", "before the first burn"),
            Word("end", "after the last burn"),
            Word("change-over", "another bank was put on"),
            Word("spot", "any other time"),
            Word("series", "one of a row of readings, rod by rod"),
            open=False,
        ),
        _list(
            "tally_scope",
            "what a count of rods covers",
            Word("cut", "one cut"),
            Word("cuts", "several named cuts"),
            Word("dive", "all cuts of a dive with that rod type"),
            Word("day", "all cuts of a day with that rod type"),
            Word("box", "the box alone, issued and returned; never a rate"),
            open=False,
        ),
        _list(
            "decision",
            "what was decided about a flag",
            Word("keep", "it happened; the default"),
            Word("data-error", "the sheet is wrong and was put right"),
            Word("leave-out", "true, and left out of rates; pages show both figures"),
            open=False,
        ),
        _list(
            "line_state",
            "what somebody said of a line",
            Word("abandoned", "given up"),
            Word("removed another way", "not burned: sawn, pulled, lifted"),
            open=False,
        ),
    )
)
"""Word lists by name."""
