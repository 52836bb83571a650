"""What was understood, said back in words: one cut, or how many rows of each kind."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from burnlog.wording import number_of

if TYPE_CHECKING:
    from burnlog.store.log import Log

__all__ = ["echo_cut", "rows_in_words"]

_WORDS = {
    "person": ("person", "people"),
    "tally": ("rod count", "rod counts"),
    "rod_part": ("part-burned rod", "part-burned rods"),
    "happening": ("stoppage, defect or event", "stoppages, defects and events"),
    "import_batch": ("file taken in", "files taken in"),
    "fit_run": ("kept fit", "kept fits"),
    "sourced_value": ("value brought with its source", "values brought with their source"),
}
"""What a row of a table is called where the table's own name will not do."""
_LINKS = ("tally_cut",)
"""Rows that only tie others together: no news to anybody."""


def rows_in_words(counts: Mapping[str, int]) -> str:
    """How many rows of each table there are, in the words of the deck; nothing where there are none."""
    named = {name: _WORDS.get(name, (name.replace("_", " "), "")) for name in counts if name not in _LINKS}
    return ", ".join(number_of(counts[name], *words) for name, words in named.items() if counts[name])


def echo_cut(log: Log, ref: str, profile: str) -> str:
    """One cut of the log in words: where it is, its minutes, its length, its rods, how it ended."""
    from burnlog import units

    cut = log.find("cut", ref)
    line = log.one("line", id=cut["line_id"]) or {}
    said = [f"cut {cut['no']} ({ref})", f"line {line.get('code')}"]
    if cut["pass_kind"] != "first":
        said.append(str(cut["pass_kind"]))
    if cut["thickness_mm"] is not None:
        said.append(units.show(cut["thickness_mm"], "thickness", profile))
    if cut["elapsed_s"] is not None:
        said.append(units.show(cut["elapsed_s"], "elapsed", profile))
    elif cut["start_at"] and cut["stop_at"]:
        import datetime as dt

        span = dt.datetime.fromisoformat(cut["stop_at"]) - dt.datetime.fromisoformat(cut["start_at"])
        said.append(units.show(span.total_seconds(), "elapsed", profile))
    if cut["new_length_mm"] is not None:
        mm = float(cut["new_length_mm"])
        said.append(f"{mm / 304.8:.2f} ft new" if profile == "us" else f"{mm / 1000:.3f} m new")
    said.extend(_rods(log, str(cut["id"])))
    for name, word in (("hangers", "hanger"), ("restarts", "restart")):
        if cut[name] is not None:
            said.append(number_of(cut[name], word))
    said.append("outcome not recorded" if cut["outcome"] == "unknown" else str(cut["outcome"]))
    return ", ".join(said)


def _rods(log: Log, cut_id: str) -> list[str]:
    tallies = log.rows(
        "SELECT t.id, t.rods, t.rods_basis FROM tally t JOIN tally_cut c ON c.tally_id = t.id WHERE c.cut_id = ?",
        (cut_id,),
    )
    said = []
    for tally in tallies:
        stubs = log.rows("SELECT stub_mm FROM rod_part WHERE tally_id = ? ORDER BY seq", (tally["id"],))
        if tally["rods"] is None:
            said.append("rods not recorded")
            continue
        listed = ", ".join(f"{row['stub_mm'] / 25.4:g} in" for row in stubs)
        count = f"{tally['rods']:g} full" if stubs else f"{tally['rods']:g} rod{'' if tally['rods'] == 1 else 's'}"
        tail = f" + {len(stubs)} stub{'s' if len(stubs) != 1 else ''} of {listed}" if stubs else ""
        said.append(f"{count}{tail}" + ("" if tally["rods_basis"] == "measured" else f" ({tally['rods_basis']})"))
    return said
