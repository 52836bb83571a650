"""The page of oxygen sag: which dives raise a question, their readings, and how many could be judged at all."""

from __future__ import annotations

from burnlog.analyses.sag import SagDive, SagReview
from burnlog.charts.sag import CutMarks, sag_charts, strip_finding, with_strips
from burnlog.columns import Frames
from burnlog.reports.cautions import cautions
from burnlog.reports.page import Head, Page, Table, page_of
from burnlog.units import show

__all__ = ["cut_marks", "sag_page"]

WORDS = ("likely", "possible", "no evidence", "not judged")


def cut_marks(frames: Frames) -> CutMarks:
    """Row number and edge of each cut, by its id."""
    cuts = frames.cuts
    return {
        str(cut): (str(ref).rsplit(" ", 1)[-1], edge if isinstance(edge, str) else "not recorded")
        for cut, ref, edge in zip(cuts["cut_id"], cuts["cut_ref"], cuts["edge"], strict=True)
    }


def sag_page(review: SagReview, frames: Frames, head: Head, *, profile: str = "metric") -> Page:
    """The page of oxygen sag.

    Parameters
    ----------
    review : SagReview
    frames : Frames
        The record: names and edges of the cuts, and where the legal log holds each dive.
    head : Head
    profile : str
        ``us`` or ``metric``.
    """
    drawn = with_strips(review)
    counts = {word: sum(dive.evidence == word for dive in review.dives) for word in WORDS}
    refs = dict(zip(frames.dives["dive_ref"], frames.dives["log_ref"], strict=True))
    judged = len(review.dives) - review.not_judged
    return page_of(
        "sag.html",
        head,
        charts=sag_charts(review, cut_marks(frames), profile=profile),
        cautions=cautions("sag", closed_space=head.closed_space),
        used=f"{judged} of {len(review.dives)} dives; flowing read on {review.flowing_on} of {review.cuts} cuts",
        left_out={"dives not judged": review.not_judged} if review.not_judged else {},
        answer="Sag " + ", ".join(f"{word} on {n} dives" for word, n in counts.items() if word != "not judged")
        + f"; {counts['not judged']} of {len(review.dives)} dives could not be judged.",
        reach=review.sentence(),
        undrawn=_undrawn(review, len(drawn)),
        strips=[
            (f"strip{place + 1}", dive.dive, strip_finding(dive, profile), _strip(dive, refs.get(dive.dive), profile))
            for place, dive in enumerate(drawn)
        ],
        dives=_dives(review, refs, profile),
        rigs=_rigs(review, profile),
        limits=review.limits.sentence(),
        edges=_edges(review),
        edges_finding=_edges_finding(review),
        banks=[
            f"{low.cut}: bank at {show(low.bank_end_kpa, 'pressure', profile, digits=4)} at stop, under the typed "
            f"{show(low.limit_kpa, 'pressure', profile, digits=4)}"
            for low in review.banks_low
        ],
        notes_=review.notes,
    )  # fmt: skip


def _undrawn(review: SagReview, drawn: int) -> str:
    """How many dives that raise a question by their readings have no strip."""
    asked = sum(d.evidence in WORDS[:2] and d.pressure.baseline is not None for d in review.dives)
    return f"{asked - drawn} more are in the table of dives below, without a strip." if asked > drawn else ""


def _strip(dive: SagDive, log_ref: object, profile: str) -> Table:
    """What else the record says of the dive, beside its strip."""
    it = dive.pressure
    usual = it.baseline
    passed = "" if dive.alarm_at is None else f"after {dive.alarm_at:g} rods, "
    rows = [
        ("limit passed", f"{passed}in {dive.first_cut or 'a cut not known'}"),
        (
            "cuts during; after",
            f"{', '.join(dive.cuts_during) or 'not known'}; {', '.join(dive.cuts_after) or 'none'}",
        ),
    ]
    if usual is not None:
        drop, centre, spread = (
            show(kpa, "pressure", profile, digits=3)
            for kpa in (float(it.drop_kpa.max()), usual.centre_kpa, usual.spread_kpa)
        )
        rows.append(("drop", f"up to {drop}; this rig's usual {centre}, spread {spread} ({usual.readings} readings)"))
    seen = (
        f"ragged on {dive.ragged} of {dive.edges_seen} seen; hangers {dive.hangers}; not through {dive.not_through}"
    )
    rows.append(("edges", seen))
    rods = "no model" if dive.rods_residual is None else f"{dive.rods_residual:+.1f} (above +1 strengthens the word)"
    rows.append(("rods against this steel", rods))
    bank = "not recorded" if dive.bank_kpa is None else show(dive.bank_kpa, "pressure", profile, digits=4)
    rows.append(("bank after that cut", bank))
    rows.append(("sag written on the sheet", "yes" if dive.reported else "no"))
    rows.append(("legal log", log_ref if isinstance(log_ref, str) else "-"))
    return Table.of(f"{dive.dive}: what stands beside the readings", ("evidence", "on this dive"), rows)


def _dives(review: SagReview, refs: dict[str, object], profile: str) -> Table | None:
    def row(dive: SagDive) -> tuple[str, ...]:
        log_ref = refs.get(dive.dive)
        return (
            dive.dive,
            dive.evidence,
            dive.rig or "-",
            f"{dive.readings} {dive.pressure.method}" if dive.readings else "none",
            "-" if dive.fall_kpa is None else show(dive.fall_kpa, "pressure", profile, digits=2),
            f"{dive.ragged} of {dive.edges_seen}",
            "-" if dive.rods_residual is None else f"{dive.rods_residual:+.1f}",
            "yes" if dive.reported else "no",
            log_ref if isinstance(log_ref, str) else "-",
        )

    shown = [dive for dive in review.dives if dive.evidence in WORDS[:2] or dive.reported]
    if not shown:
        return None
    return Table.of(
        "Dives that raise a question, or with sag written on the sheet. The rods residual alone is no sign of sag.",
        ("dive", "sag", "rig", "readings", "rise", "ragged edges", "rods", "on sheet", "legal log ref"),
        [row(dive) for dive in sorted(shown, key=lambda dive: WORDS.index(dive.evidence))],
    )


def _rigs(review: SagReview, profile: str) -> Table:
    """How far each rig's dives could be judged, and against what."""
    rows = []
    for rig in sorted({dive.rig for dive in review.dives}):
        mine = [dive for dive in review.dives if dive.rig == rig]
        usual = sorted(
            (dive.pressure.baseline.centre_kpa, dive.pressure.baseline.spread_kpa)
            for dive in mine
            if dive.pressure.baseline is not None
        )
        centre, spread = usual[len(usual) // 2] if usual else (None, None)
        rows.append(
            (
                rig or "not recorded",
                "-" if centre is None else show(centre, "pressure", profile, digits=3),
                "-" if spread is None else show(spread, "pressure", profile, digits=2),
                str(sum(dive.readings for dive in mine)),
                *(str(sum(dive.evidence == word for dive in mine)) for word in WORDS),
            )
        )
    return Table.of(
        "Each rig's usual drop from static to flowing, and its dives",
        ("rig", "usual drop", "spread", "readings", *WORDS),
        rows,
        numeric=(3, 4, 5, 6, 7),
    )


def _edges(review: SagReview) -> Table:
    it = review.table
    return Table.of(
        "Cuts of judged dives: an association, not proof",
        ("cuts", "ragged, not through or clogged", "other"),
        [
            ("during sag", str(it.sag_ragged), str(it.sag_other)),
            ("otherwise", str(it.clear_ragged), str(it.clear_other)),
        ],
        numeric=(1, 2),
    )


def _edges_finding(review: SagReview) -> str:
    it = review.table
    if it.p is None:
        return "Sag and ragged edges cannot be held together: a row or a column is empty."
    return (
        f"{it.sag_ragged} of {it.sag_ragged + it.sag_other} cuts during sag were ragged, {it.clear_ragged} of "
        f"{it.clear_ragged + it.clear_other} otherwise (Fisher's exact p {it.p:.2g}; {it.says})."
    )
