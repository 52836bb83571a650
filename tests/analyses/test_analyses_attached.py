"""What is still attached: no line is called done without a length to show for it."""

from __future__ import annotations

from typing import Any

import pytest
from account_record import dive, record
from hypothesis import given, settings
from hypothesis import strategies as st

from burnlog.analyses.attached import left_on
from burnlog.errors import InputError
from burnlog.reports.text_record import left_text
from burnlog.vocabulary import words


def _state(*cuts: dict[str, Any], **noted: Any) -> str | None:
    """State of line L1 after these cuts, None where it is through."""
    frames = record(dive(1, *({"line": "L1", **cut} for cut in cuts)))
    for name, value in noted.items():
        frames.lines[name] = value
    lines = left_on(frames, "J1").lines
    return lines[0].state if lines else None


def test_R10_full_length_with_a_hanger_is_hanging() -> None:
    """A line cut to its full length with one hanger left hangs, whatever the outcome says."""
    assert _state({"hangers": 1.0}) == "hanging"
    assert _state({"outcome": "through with hangers"}) == "hanging"


def test_R10_a_hanger_that_was_freed_hangs_no_more() -> None:
    """A later pass that went through and left none frees the line; one that did not leaves it hanging."""
    freed = {"pass_kind": "hanger", "new_length_m": None, "outcome": "through", "hangers": 0.0}
    assert _state({"hangers": 1.0, "outcome": "through with hangers"}, freed) is None
    tried = {**freed, "outcome": "not through", "hangers": None}
    assert _state({"hangers": 1.0, "outcome": "through with hangers"}, tried) == "hanging"


def test_R10_a_line_through_without_an_edge_is_not_said_to_be_looked_at() -> None:
    """A blank edge is not recorded, which is not looked at and well: such lines are counted and told."""
    cuts = [{"line": f"L{n}", "edge": edge} for n, edge in enumerate(("clean", None, None), 1)]
    found = left_on(record(dive(1, *cuts)), "J1")
    assert (found.through, found.unseen, found.as_json()["edge_not_recorded"]) == (3, 2, 2)
    assert "on 2 of them no edge is recorded" in left_text(found)


@pytest.mark.parametrize(
    ("cut", "state"),
    [
        ({}, None),
        ({"new_length_m": None}, "not known"),
        ({"new_length_m": 0.5}, "not known"),
        ({"new_length_m": 0.5, "outcome": "part way"}, "part cut"),
        ({"outcome": "not through"}, "part cut"),
        ({"outcome": "abandoned", "new_length_m": 0.2}, "abandoned"),
        ({"outcome": "unknown"}, "not looked at"),
        ({"outcome": None}, "not looked at"),
        ({"outcome": "unknown", "new_length_m": 0.3}, "part cut"),
        ({"outcome": "unknown", "new_length_m": None}, "not known"),
        ({"edge": "not seen"}, "not looked at"),
        ({"edge": None}, None),
        ({"planned_length_m": None}, None),
        ({"pass_kind": "re-burn", "new_length_m": None}, "not known"),
    ],
)
def test_R10_states(cut: dict[str, Any], state: str | None) -> None:
    """A line is through only with a length to show, an outcome that says so and nobody saying it was not seen."""
    assert _state(cut) == state


def test_R10_what_somebody_noted_of_a_line() -> None:
    """Noted as abandoned it stays on the list; removed another way it does not."""
    assert _state({}, state_noted="abandoned") == "abandoned"
    assert _state({"hangers": 1.0}, state_noted="removed another way") is None


def test_R10_list_begins_with_the_memory_aid() -> None:
    """The list names every line not known to be through, planned ones too, under the memory-aid line."""
    frames = record(
        dive(
            1,
            {"line": "L1"},
            {"line": "L2", "hangers": 2.0},
            {"line": "L3", "outcome": "part way", "new_length_m": 0.4},
        ),
        planned=[{"line": "L4", "planned_length_m": 2.5}],
    )
    left = left_on(frames, "j1")
    assert [(line.line, line.state) for line in left.lines] == [
        ("L2", "hanging"),
        ("L3", "part cut"),
        ("L4", "planned"),
    ]
    assert left.through == 1
    text = left_text(left, "us")
    assert text.splitlines()[0] == "memory aid; confirm by diver before any lift"
    assert "L1" not in text
    assert "2 hangers left" in text
    assert all(line.isascii() and len(line) <= 80 for line in text.splitlines())
    assert left.as_json()["lines"][1]["severed_m"] == 0.4


def test_R10_an_unknown_job_names_the_nearest() -> None:
    """A job that is not there is an input error that names what is."""
    with pytest.raises(InputError, match="J1"):
        left_on(record(dive(1, {})), "J11")


_CUTS = st.lists(
    st.fixed_dictionaries(
        {
            "pass_kind": st.sampled_from(words("pass_kind")),
            "new_length_m": st.one_of(st.none(), st.sampled_from([0.2, 0.5, 1.0])),
            "outcome": st.one_of(st.none(), st.sampled_from(words("outcome"))),
            "hangers": st.one_of(st.none(), st.sampled_from([0.0, 1.0])),
            "edge": st.one_of(st.none(), st.sampled_from(words("edge"))),
        }
    ),
    min_size=1,
    max_size=4,
)


@settings(max_examples=30, derandomize=True, deadline=None)
@given(_CUTS)
def test_R10_no_line_is_done_without_a_length(cuts: list[dict[str, Any]]) -> None:
    """Whatever was written, a line off the list has every first pass's length and was called through last."""
    for cut in cuts:
        if cut["pass_kind"] != "first":
            cut["new_length_m"] = None
    if _state(*cuts) is None:
        lengths = [cut["new_length_m"] for cut in cuts if cut["pass_kind"] == "first"]
        assert lengths
        assert None not in lengths
        assert sum(lengths) >= 0.9
        assert cuts[-1]["outcome"] == "through"
        assert not cuts[-1]["hangers"]
