"""What the reader of a bid has to know: warnings, what is in the figures, and what is not."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from burnlog.analyses import order as orders

if TYPE_CHECKING:
    import pandas as pd

    from burnlog.analyses.estimate import Estimate

__all__ = ["in_and_out", "warnings_of"]

FEW_JOBS = 6
LARGE_SHARE = 0.25
"""Of the history's rods or length in one tally: from here on a slip in it would move the whole bid. Judgement."""


def warnings_of(
    made: Estimate, blanks: Mapping[str, int], unseen: Mapping[str, tuple[str, ...]], unknown: tuple[str, ...]
) -> tuple[str, ...]:
    """What the reader has to know, in plain words, weightiest first."""
    said = []
    if made.outside_history:
        said.append(f"OUTSIDE LOGGED RANGE, allowed because: {made.plan.allow_outside}")
        said.extend(f"{found.item}: {problem}" for found in made.supports for problem in found.problems)
    if made.plan.job is not None:
        said.append(f"for the rest of job {made.plan.job}, with that job's own effect: no range for a new job")
    if made.jobs < FEW_JOBS:
        said.append(
            f"fewer than {FEW_JOBS} jobs ({made.jobs}): the range leans on the spread assumed between jobs, "
            "and may be too narrow if your jobs differ more than most"
        )
    said.extend(_leaning(made.basis.tallyset.tallies))
    said.extend(f"{found.item}: only one job like this" for found in made.supports if found.jobs == 1)
    if blanks:
        listed = ", ".join(
            f"{name} ({n} of {sum(i.quantity for i in made.takeoff.items)} pieces)" for name, n in blanks.items()
        )
        said.append(f"left blank and drawn from the history's own mix, which widens the range: {listed}")
    for name, levels in unseen.items():
        said.append(f"{name} {', '.join(levels)}: no history of its own; drawn from the history's mix")
    if unknown:
        said.append(f"not in the history, drawn as new divers: {', '.join(unknown)}")
    left = made.basis.tallyset.left_out_counts()
    if left:
        said.append("left out of the history: " + ", ".join(f"{reason} ({n})" for reason, n in left.items()))
    if made.unfinished_share > 0:
        said.append(
            f"{100 * made.unfinished_share:.0f} % of the tallies hold an unfinished line; they are in the rates"
        )
    if made.rods_unit == "equivalents":
        said.append("box counts on fewer than 3 jobs: rods are equivalents burned, and losses are not in them")
    if made.cut_time_s is None:
        said.append(f"cut time and dives not estimated: {made.fit.time_refused}")
    elif made.dives is None:
        said.append(orders.why_no_dives(made.plan.bottom_time_s, made.plan.start_up_s))
    if made.oxygen_kg is None:
        said.append("no oxygen history on 3 jobs or more: oxygen not estimated")
    if made.plan.standby_days and not _standby(made):
        said.append("standby days were typed, but the price list has no standby: they are not in the cost")
    said.extend(made.order.notes)
    said.extend(
        "a re-burn allowance was added, and the history already holds its re-burns"
        for adjustment in made.plan.adjustments
        if "re-burn" in adjustment.why.lower() or "reburn" in adjustment.why.lower()
    )
    return tuple(said)


def _leaning(tallies: pd.DataFrame) -> list[str]:
    """A sentence for a tally that holds so much of the history that the bid leans on it."""
    said = []
    for column, what in (("rods", "rods"), ("new_length_m", "length")):
        shares = tallies[column] / tallies[column].sum()
        if shares.max() > LARGE_SHARE:
            ref = tallies["ref"].iloc[int(shares.to_numpy().argmax())]
            said.append(
                f"{ref} alone holds {100 * shares.max():.0f} % of the history's {what}, and the bid leans on it; "
                "look at its sheet"
            )
    return said


def _standby(made: Estimate) -> bool:
    """Days of standby were typed and priced."""
    return bool(made.plan.standby_days) and "standby" in made.order.cost_parts


def in_and_out(made: Estimate) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What is in the figures and what is not."""
    inside = [
        "burning, rod changes, restarts, re-burns and freeing of hangers, as they happened in the history used",
        "starts: one per piece",
    ]
    if made.rods_unit == "drawn":
        inside.append("rods lost, broken, wet or not lit, as they happened there")
    if made.dives is not None:
        inside.append("start-up and clear-up on the bottom as typed")
    if made.cost is not None:
        inside.append("cost of " + ", ".join(made.order.cost_parts) + " at the prices typed")
    outside = [
        "descent, travel and set-up unless typed as start-up",
        "cleaning, digging and jetting to reach the cut",
        "rigging, lifting and waiting for cranes",
        "weather, tide and traffic",
        "decompression, standby beyond the days typed" if _standby(made) else "decompression and standby",
    ]
    if made.cost is not None:
        missing = made.order.cost_missing
        named = f": {', '.join(missing)}" if missing else ""
        outside.append("cost of what has no typed price or no quantity here" + named)
    return tuple(inside), tuple(outside)
