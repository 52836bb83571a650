"""Lines of the terminal."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from burnlog.reports.lines import WIDTH, ascii_text, wrapped


@settings(derandomize=True, max_examples=150)
@given(st.text(max_size=300), st.sampled_from(["", "  ", "    "]))
def test_R78_any_text_fits_the_terminal_and_commands_nothing(text: str, indent: str) -> None:
    """Whatever was typed comes out in printable ASCII, at most 79 columns wide."""
    said = ascii_text(wrapped(text, indent)).split("\n")
    assert all(len(line) <= WIDTH for line in said)
    assert all(" " <= c <= "~" for line in said for c in line)


def test_words_stay_in_order_under_their_indents() -> None:
    """No word is lost, and the lines after the first stand where they were asked to."""
    words = [f"word{place}" for place in range(40)]
    first, *others = wrapped(" ".join(words), "  ")
    assert first.startswith("  word0")
    assert all(line.startswith("    word") for line in others)
    assert " ".join([first, *(line.strip() for line in others)]).split() == words
    assert all(line.startswith("word") for line in wrapped(" ".join(words), after=""))
