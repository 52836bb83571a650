"""What the oxygen did on each crew's dives, beside the crews' figures."""

from __future__ import annotations

from dataclasses import replace

from review_record import record

from burnlog.analyses.crew_oxygen import crew_oxygen
from burnlog.analyses.sag import SagReview, sag
from burnlog.analyses.scope import Scope
from burnlog.charts.crews import oxygen_chart, oxygen_finding
from burnlog.columns import Frames

RISE = (0.0, 0.0, 20.0, 40.0, 60.0, 80.0)


def season() -> Frames:
    """Two crews on one rig, ten dives of six cuts each; on B's last dive the drop climbs and edges turn ragged."""
    cuts = []
    for dive in range(1, 21):
        for row in range(1, 7):
            falling = dive == 20
            drop = 150.0 + 3.0 * ((7 * dive + row) % 3 - 1) + (10 * RISE[row - 1] if falling else 0.0)
            cuts.append(
                {
                    "dive_no": dive,
                    "row": row,
                    "dive_date": f"2026-05-{dive:02d}",
                    "crew": "A" if dive % 2 else "B",
                    "diver": f"D{1 + dive % 2}",
                    "static_kpa": 1000.0,
                    "flowing_kpa": 1000.0 - drop,
                    "edge": "ragged" if falling and row >= 3 else "clean",
                }
            )
    return record(cuts)


def test_the_dive_that_fell_stands_with_its_crew_and_its_edges_before_and_after() -> None:
    """Of twenty dives one fell, it is B's, no edge was ragged before the fall and every one from then on."""
    frames = season()
    review = sag(frames)
    found = crew_oxygen(frames, review, Scope(), "crew")
    assert [dive.code for dive in found.dives] == ["A", "B"] * 10
    (fell,) = found.fell
    assert (fell.code, fell.dive) == ("B", "J1 20")
    assert fell.before_ragged == 0
    assert fell.from_ragged == fell.from_seen == 6 - fell.before_seen > 0
    words = {dive.dive: dive.evidence for dive in review.dives}
    assert found.counts("A") == {
        word: sum(words[f"J1 {n}"] == word for n in range(1, 20, 2))
        for word in ("likely", "possible", "no evidence", "not judged")
    }
    said = oxygen_finding(found)
    assert "(B 1)" in said
    assert f"0 of {fell.before_seen} seen before the fall, {fell.from_ragged} of {fell.from_seen} from its" in said


def test_every_dive_is_drawn_and_shape_tells_what_happened() -> None:
    """The chart has a mark for every dive in order, and its shape carries the word."""
    frames = season()
    found = crew_oxygen(frames, sag(frames), Scope(), "crew")
    spec = oxygen_chart(found).to_dict()
    rows = next(iter(spec["datasets"].values()))
    assert len(rows) == 20
    assert [row["place"] for row in rows] == [*range(1, 11), *range(1, 11)]
    domain = spec["encoding"]["shape"]["scale"]
    assert len(set(domain["range"])) == len(domain["domain"])


def test_dives_outside_the_review_do_not_count_and_rod_types_have_no_dives() -> None:
    """Training dives stay out of a review of paid work; a rod type has no dives of its own."""
    frames = season()
    dives = frames.dives.copy()
    dives.loc[dives["dive_ref"].eq("J1 20"), "record_class"] = "training"
    other = replace(frames, dives=dives)
    review: SagReview = sag(other)
    assert crew_oxygen(other, review, Scope(), "crew").fell == ()
    assert crew_oxygen(frames, sag(frames), Scope(), "rod_type").dives == ()
