"""Used and left out make the whole: of every count in the record it can be said where it went."""

from __future__ import annotations

from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st
from plain_record import frames_of

from burnlog.analyses.completeness import completeness
from burnlog.analyses.crews import crews
from burnlog.analyses.rates import rates
from burnlog.analyses.scope import Scope
from burnlog.analyses.tallies import gather
from burnlog.errors import RefusedError

_BLANKS = {
    "rods": st.sampled_from([None, 0, 3, 5, 8, 40]),
    "rods_basis": st.sampled_from(["measured", "estimated", "at least", "not recorded"]),
    "new_length_m": st.sampled_from([None, 0.0, 0.3, 1.0, 4.0]),
    "thickness_mm": st.sampled_from([None, 9.5, 12.7, 25.4]),
    "setting": st.sampled_from(["open water", "open water", "test tank", "dry practice", None]),
    "record_class": st.sampled_from(["production", "production", "training", "trial", None]),
    "material": st.sampled_from(["carbon steel", "stainless steel", "unknown", None]),
    "family": st.sampled_from(["exothermic", "tubular", None]),
    "pass_kind": st.sampled_from(["first", "first", "re-burn", "hanger"]),
    "outcome": st.sampled_from(["through", "part way", "abandoned", "unknown"]),
    "elapsed_s": st.sampled_from([None, 300.0, 1200.0]),
    "crew": st.sampled_from(["A", "B", None]),
    "job": st.sampled_from(["J1", "J2", "J3"]),
}
_CUTS = st.lists(st.fixed_dictionaries(_BLANKS), min_size=1, max_size=12)
_SCOPES = st.sampled_from([Scope(), Scope(family="exothermic"), Scope(setting="test tank", record_class=None)])


def _record(drawn: list[dict[str, Any]]) -> Any:
    return frames_of([{**cut, "dive_no": 1 + n // 3} for n, cut in enumerate(drawn)])


@settings(derandomize=True, max_examples=20, deadline=None)
@given(drawn=_CUTS, scope=_SCOPES)
def test_R36_used_and_left_out_make_the_whole(drawn: list[dict[str, Any]], scope: Scope) -> None:
    """Whatever is blank, each count of the record is used, joined, left out for one reason or outside the filter."""
    frames = _record(drawn)
    found = gather(frames, scope)
    named = [*found.tallies.index, *found.joined]
    reasons = [ref for refs in (*found.left_out.values(), *found.outside.values()) for ref in refs]
    assert len(named) + len(reasons) == len(frames.tallies)
    assert len(set(named)) == len(named)
    for result in (lambda: rates(frames, scope), lambda: crews(frames, scope, by="crew")):
        try:
            said = result()
        except RefusedError:
            continue
        left = said.left_out if isinstance(said.left_out, dict) else dict(said.left_out)
        assert left == found.left_out_counts()


@settings(derandomize=True, max_examples=12, deadline=None)
@given(drawn=_CUTS)
def test_R36_recorded_never_exceeds_expected(drawn: list[dict[str, Any]]) -> None:
    """Groups add up to the whole, and nothing is recorded more often than it could have been."""
    frames = _record(drawn)
    whole = completeness(frames, by=())
    for by in (("job",), ("crew",), ("job", "crew")):
        parts = completeness(frames, by=by)
        assert all(0 <= count.recorded <= count.expected for count in parts.counts)
        assert {(c.field, c.recorded, c.expected) for c in parts.overall()} == {
            (c.field, c.recorded, c.expected) for c in whole.overall()
        }
