"""A backtest as text for the terminal: how often each method's ranges held on the jobs of the record."""

from __future__ import annotations

import textwrap

from burnlog.analyses.backtest import Backtest, Score
from burnlog.reports.cautions import MADE_UP

__all__ = ["backtest_text"]

WIDTH = 79
NAMES = {
    "integrated": "this program's range",
    "plug_in": "mixed model, spreads plugged in",
    "job_t": "job ratios with t",
    "pooled": "pooled ratio, cuts independent",
    "rule": "rule of thumb",
}


def backtest_text(found: Backtest) -> str:
    """One table over the methods, then each job's range and what it really took."""
    lines = [MADE_UP] if found.made_up else []
    seen = "from earlier jobs only" if found.forward else "from all other jobs"
    lines.append(f"{len(found.rows)} jobs, each forecast {seen}.")
    lines.append("Share of actual totals inside the range; 80 % with its exact 95 % interval.")
    lines.append("")
    lines.append(f"  {'method':<32}{'50 %':>6}{'80 %':>18}{'95 %':>7}{'width':>7}{'CRPS':>7}")
    lines += [_row(NAMES.get(name, name), score) for name, score in found.methods.items()]
    lines.append("  width: ln(P90/P10). CRPS on the log scale: smaller is nearer.")
    lines += ["", f"  {'job':<16}{'P10':>8}{'P50':>8}{'P90':>8}{'actual':>9}{'tallies before':>16}"]
    for row in found.rows:
        mark = "" if row.p10 <= row.actual_rods <= row.p90 else "  outside"
        lines.append(
            f"  {row.job[:16]:<16}{row.p10:>8.0f}{row.p50:>8.0f}{row.p90:>8.0f}{row.actual_rods:>9.0f}"
            f"{row.tallies_before:>16}{mark}"
        )
    for text in found.notes:
        lines += textwrap.wrap("- " + text, WIDTH, subsequent_indent="  ")
    lines.append(f"seed {found.seed}, {found.draws} draws")
    return "\n".join(lines)


def _share(value: float | None) -> str:
    return "-" if value is None else f"{100 * value:.0f} %"


def _row(name: str, score: Score) -> str:
    reach = _share(score.c80)
    if score.c80_low is not None and score.c80_high is not None:
        reach += f" ({100 * score.c80_low:.0f}-{100 * score.c80_high:.0f})"
    width = "-" if score.width80 is None else f"{score.width80:.2f}"
    crps = "-" if score.crps is None else f"{score.crps:.3f}"
    return f"  {name[:32]:<32}{_share(score.c50):>6}{reach:>18}{_share(score.c95):>7}{width:>7}{crps:>7}"
