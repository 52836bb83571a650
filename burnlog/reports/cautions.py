"""The cautions: what every page and every report ends with. No option turns them off.

Source of their content: 29 CFR 1910.422(g) for the switch, the voice link and closed spaces; the reports of
incidents named in `burnlog.sources`. The wording is the project's own.
"""

from __future__ import annotations

import textwrap

__all__ = ["MADE_UP", "caution_block", "cautions"]

EVERY_PAGE = (
    "Planning and learning record only. Not a cutting procedure, not a permit, not the legal dive record "
    "(log ref in the dive table). No figure here means a cut may start: that is for the licensed supervisor, "
    "local code and the maker's instructions."
)
FIGURES = (
    "Fewer rods and less time are not a safety measure. Figures come from {n}; "
    "the next job can lie outside the range."
)
TRAPPED_GAS = (
    "Trapped gas: hydrogen and oxygen burn over a very wide range. Flooded is not automatically safe; venting "
    "counts only if it truly clears the gas. See the burning plan and permit."
)
SWITCH = (
    "Switch open except while burning. Hot / cold: repeat the call. Rod change only after cold is confirmed and "
    "the rod proved dead. Never between rod and ground clamp."
)
TAPPING = "A rod tapped again and again with oxygen on fills a pocket."
MADE_UP = "MADE UP: an invented scenario, not field data."

_BY_KIND = {
    "report": (),
    "estimate": (FIGURES,),
    "review": (FIGURES,),
    "variation": (FIGURES,),
    "sheet": (SWITCH,),
    "day": (SWITCH,),
    "sag": (TAPPING,),
    "flags": (TAPPING,),
}


def cautions(
    kind: str = "report", *, closed_space: bool = False, tallies: int | None = None, jobs: int | None = None
) -> tuple[str, ...]:
    """The sentences a page or report of this kind carries.

    Parameters
    ----------
    kind : str
        ``report``, ``estimate``, ``review``, ``variation``, ``sheet``, ``day``, ``sag`` or ``flags``.
    closed_space : bool
        A piece on the page is closed or could hold gas, or nobody said.
    tallies, jobs : int, optional
        How many tallies on how many jobs the figures come from.

    Returns
    -------
    tuple of str

    Examples
    --------
    >>> cautions("sag")[-1]
    'A rod tapped again and again with oxygen on fills a pocket.'
    """
    n = "the tallies and jobs named above" if tallies is None else f"{tallies} tallies on {jobs} jobs"
    lines = [EVERY_PAGE, *(text.format(n=n) for text in _BY_KIND[kind])]
    if closed_space:
        lines.append(TRAPPED_GAS)
    return tuple(lines)


def caution_block(
    kind: str = "report",
    *,
    closed_space: bool = False,
    tallies: int | None = None,
    jobs: int | None = None,
    width: int = 79,
) -> str:
    """The same sentences, wrapped for the terminal."""
    lines = cautions(kind, closed_space=closed_space, tallies=tallies, jobs=jobs)
    return "\n".join(textwrap.fill(line, width, initial_indent="! ", subsequent_indent="  ") for line in lines)
