"""Word lists: what they hold, and how a typed text finds its word."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from burnlog.errors import ReadError
from burnlog.sources import SOURCES
from burnlog.vocabulary import LISTS, PRACTICE, match, match_many, words

STORED = {
    "setting": "open water|test tank|dry practice",
    "family": "exothermic|tubular",
    "pass_kind": "first|re-burn|hanger|pierce|trial",
    "outcome": "through|through with hangers|part way|not through|abandoned|unknown",
    "edge": "clean|rough|ragged|not seen",
    "visibility": "by feel|under 1 ft|1-3 ft|3-10 ft|over 10 ft",
    "current": "none|light|moderate|strong",
    "surge": "none|some|hard",
    "position": "flat|horizontal|vertical down|vertical up|overhead|round a pipe",
    "fouling": "bare|thin paint|thick coating|soft growth|hard growth|heavy rust|concrete or wrap",
    "backing": "open water|mud or soil|concrete or grout|second plate|unknown",
    "material": "carbon steel|high-strength steel|stainless steel|cast iron|non-ferrous|unknown",
    "power": "on|off|mixed",
    "record_class": "production|training|trial",
    "closed_space": "open|closed or could hold gas|unknown",
    "hangers_at": "at a rod change|at the start|at the end|mid-line|not known",
    "water": "salt|fresh|brackish|none",
    "units_profile": "us|metric",
    "access": "open|restricted|by feel",
    "cleaned": "none|near face|both faces|not needed",
    "reading_reason": "start|end|change-over|spot|series",
    "decision": "keep|data-error|leave-out",
    "contents_route": "label volume|water volume real gas|weighed",
    "basis": "measured|drawing|computed|estimated|at least|at most|not recorded|does not apply",
}


@pytest.mark.parametrize(("name", "expected"), STORED.items())
def test_stored_words(name: str, expected: str) -> None:
    """These words stand in files and tables: a changed one would orphan old rows."""
    assert words(name) == tuple(expected.split("|"))


LONG_FORMS = [
    ("position", "flat from above", "flat"),
    ("position", "horizontal line on upright face", "horizontal"),
    ("position", "upright line going down", "vertical down"),
    ("visibility", "none, by feel", "by feel"),
    ("visibility", "under 1 ft (0.3 m)", "under 1 ft"),
    ("visibility", "1\u20133 ft", "1-3 ft"),
    ("fouling", "bare or mill scale", "bare"),
    ("family", "tubular steel arc", "tubular"),
    ("setting", "dry practice on deck", "dry practice"),
    ("hangers_at", "at the end of the line", "at the end"),
    ("outcome", "yes", "through"),
    ("outcome", "no", "not through"),
    ("outcome", "part", "part way"),
    ("pass_kind", "again", "re-burn"),
    ("pass_kind", "re\u2011burn", "re-burn"),
]


@pytest.mark.parametrize(("name", "typed", "word"), LONG_FORMS)
def test_long_forms_are_aliases(name: str, typed: str, word: str) -> None:
    """Longer and older forms, and typographic dashes, find the stored word."""
    assert match(typed, name) == word


@pytest.mark.parametrize(
    ("name", "typed", "word"),
    [
        ("outcome", "thr", None),
        ("outcome", "through", "through"),
        ("outcome", "through w", "through with hangers"),
        ("outcome", "ABAN", "abandoned"),
        ("edge", " Rag ", "ragged"),
        ("family", "exo", "exothermic"),
        ("position", "vertical d", "vertical down"),
        ("position", "o", "overhead"),
    ],
)
def test_R38_prefixes(name: str, typed: str, word: str | None) -> None:
    """A whole word, or a prefix that fits only one, is enough; a prefix of several asks with all of them."""
    if word is None:
        with pytest.raises(ReadError, match="could be through or through with hangers"):
            match(typed, name)
    else:
        assert match(typed, name) == word


def test_R38_ver_d_asks() -> None:
    """`ver d` is no prefix of one word: it asks, and names the nearest."""
    with pytest.raises(ReadError, match="vertical down"):
        match("ver d", "position")
    with pytest.raises(ReadError, match="could be vertical down or vertical up"):
        match("ver", "position")


def test_R38_an_unknown_word_names_the_nearest_three() -> None:
    """An unknown word is refused with the nearest three words of its list, and the way round."""
    with pytest.raises(ReadError) as caught:
        match("ragedd", "edge")
    message = str(caught.value)
    assert message.startswith("'ragedd' is no word for edge")
    assert "ragged" in message
    assert sum(word in message for word in words("edge")) == 3
    assert "other:" not in message
    with pytest.raises(ReadError, match="other: your word"):
        match("xyzzy", "fouling")


@pytest.mark.parametrize("name", LISTS)
def test_blank_is_not_recorded_in_every_list(name: str) -> None:
    """A blank, `-`, `?`, `nr` or `na` is no word."""
    assert [match(typed, name) for typed in ("", " ", "-", "?", "nr", "NR", "na")] == [None] * 7


@pytest.mark.parametrize("name", LISTS)
def test_other_words(name: str) -> None:
    """`other: text` is kept as typed where the list is open, and refused with the words where it is closed."""
    if LISTS[name].open:
        assert match("other: Coal Tar", name) == "other: Coal Tar"
        for typed in ("other:", "other", "other:   "):
            with pytest.raises(ReadError, match="needs the word"):
                match(typed, name)
        with pytest.raises(ReadError, match="100 characters"):
            match("other: " + "x" * 101, name)
    else:
        with pytest.raises(ReadError, match="takes no other words than"):
            match("other: Coal Tar", name)


@pytest.mark.parametrize("name", LISTS)
def test_every_word_says_what_it_means_and_where_it_comes_from(name: str) -> None:
    """Each word has a meaning that is not the word again, and a source that is a key or says there is none."""
    for entry in LISTS[name].words:
        assert entry.meaning
        assert entry.meaning != entry.word
        assert entry.source == PRACTICE or entry.source in SOURCES


@pytest.mark.parametrize("name", LISTS)
def test_every_word_and_alias_finds_its_word(name: str) -> None:
    """No alias shadows a word, and no two words share one."""
    spoken: dict[str, str] = {}
    for entry in LISTS[name].words:
        for spelling in (entry.word, *entry.aliases):
            assert spelling not in spoken
            spoken[spelling] = entry.word
            assert match(spelling.upper(), name) == entry.word
        assert entry.word.isascii()
        assert ";" not in entry.word


def test_defects_and_events_of_the_manual_cite_it() -> None:
    """Words that stand in the Navy manual carry it; hangers have no source and say so."""
    source = {entry.word: entry.source for name in ("defect", "event") for entry in LISTS[name].words}
    assert source["back-flare"] == source["clogged kerf"] == source["blow-back"] == "us-navy-cutting-manual"
    assert source["rod would not light"] == "imca-sf-05-04"
    assert source["hanger left"] == source["oxygen sag"] == PRACTICE


@pytest.mark.parametrize(
    ("typed", "name", "found"),
    [
        ("clogged kerf; rod stuck x2", "defect", (("clogged kerf", ""), ("rod stuck", "x2"))),
        ("crane 5min; power 2 min", "stoppage", (("crane or rigging", "5min"), ("power", "2 min"))),
        ("oxygen ~5 min;", "stoppage", (("oxygen", "~5 min"),)),
        ("other: kelp in the way 5", "defect", (("other: kelp in the way 5", ""),)),
        ("; -; ?", "defect", ()),
        ("", "event", ()),
    ],
)
def test_several_words_in_one_cell(typed: str, name: str, found: tuple[tuple[str, str], ...]) -> None:
    """Words parted by semicolons come out with the count or time behind each."""
    assert match_many(typed, name) == found


def test_a_story_is_no_word() -> None:
    """A text far longer than any word is refused before it is compared."""
    with pytest.raises(ReadError, match="500 characters"):
        match("x" * 500, "edge")


@settings(derandomize=True, max_examples=100, deadline=None)
@given(text=st.text(max_size=300), name=st.sampled_from(sorted(LISTS)))
def test_any_text_is_matched_or_refused(text: str, name: str) -> None:
    """No text makes the match fail in any way but its own."""
    try:
        word = match(text, name)
    except ReadError:
        return
    assert word is None or word in words(name) or (LISTS[name].open and word.startswith("other: "))
