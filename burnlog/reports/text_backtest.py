"""A backtest as text for the terminal: how often ranges held, on the jobs of the record or on invented ones."""

from __future__ import annotations

from burnlog.analyses.backtest import Backtest, Score
from burnlog.analyses.rehearsal import Held, Rehearsal
from burnlog.charts.backtest import METHOD_NAMES
from burnlog.reports.cautions import MADE_UP
from burnlog.reports.lines import ascii_text, wrapped

__all__ = ["backtest_text", "rehearsal_text"]

TOTALS = {"rods": "rods", "seconds": "cut time", "dives": "dives"}


def backtest_text(found: Backtest) -> str:
    """One table over the methods, then each job's range and what it really took."""
    lines = [MADE_UP] if found.made_up else []
    seen = "from earlier jobs only" if found.forward else "from all other jobs"
    lines.append(f"{len(found.rows)} jobs, each forecast {seen}.")
    lines.append("Share of actual totals inside the range; 80 % with its exact 95 % interval.")
    lines.append("")
    lines.append(f"  {'method':<29}{'50 %':>6}{'80 %':>15}{'95 %':>7}{'width':>6}{'CRPS':>7}{'P80':>7}")
    lines += [_row(METHOD_NAMES[name], score) for name, score in found.methods.items()]
    lines.append("  width: ln(P90/P10). CRPS, and P80 (pinball loss there), on the log scale:")
    lines.append("  smaller is nearer.")
    lines += ["", f"  {'job':<16}{'P10':>8}{'P50':>8}{'P90':>8}{'actual':>9}{'tallies before':>16}"]
    for row in found.rows:
        mark = "" if row.p10 <= row.actual_rods <= row.p90 else "  outside"
        lines.append(
            f"  {row.job[:16]:<16}{row.p10:>8.0f}{row.p50:>8.0f}{row.p90:>8.0f}{row.actual_rods:>9.0f}"
            f"{row.tallies_before:>16}{mark}"
        )
    for text in found.notes:
        lines += wrapped("- " + text)
    lines.append(f"seed {found.seed}, {found.draws} draws")
    return ascii_text(lines)


def rehearsal_text(found: Rehearsal) -> str:
    """What ranges from a record of this size are worth, and what that rests on."""
    world = found.world
    size = f"{found.jobs} jobs, {found.tallies} tallies"
    lines = wrapped(
        f"INVENTED RECORDS. {found.histories} records were made up in the shape of yours ({size}): as many jobs "
        f"and lines, the same plates, dives, crews and blanks. From each one new job was bid and then carried out. "
        f"Rates, luck and effects are made up, with jobs apart by {world.job_sd[0]:g} to {world.job_sd[1]:g} on the "
        f"log scale, so this says how far the method holds for a record of this size, not whether yours is right.",
        after="",
    )
    lines += ["", "Share of true totals inside the range; 80 % with its exact 95 % interval, each"]
    lines += ["invented record counted once."]
    lines += ["", f"  {'total':<12}{'50 %':>6}{'80 %':>18}{'95 %':>7}{'width':>7}{'bias':>8}{'poor':>7}{'n':>6}"]
    for name, held in found.held.items():
        reach = f"{_share(held.c80)} ({100 * held.c80_low:.0f}-{100 * held.c80_high:.0f})"
        lines.append(
            f"  {TOTALS[name]:<12}{_share(held.c50):>6}{reach:>18}{_share(held.c95):>7}{held.width80:>7.2f}"
            f"{100 * held.bias:>+6.0f} %{_share(held.poor):>7}{held.histories:>6}"
        )
    lines.append("  width: ln(P90/P10). bias: P50 over the true middle. poor: records whose own")
    lines.append("  80 % range held less than 65 % of what could have come.")
    rods = found.held["rods"]
    lines += ["", *wrapped(_verdict(rods, size), after="")]
    if found.refused:
        lines += wrapped(
            f"{found.refused} of the invented records were too thin for a model and gave no range.", after=""
        )
    if "seconds" not in found.held:
        lines += wrapped("Cut time and dives could not be tried: too few times would be written down.", after="")
    lines.append(f"seed {found.seed}, {found.histories} invented records")
    return ascii_text(lines)


def _verdict(rods: Held, size: str) -> str:
    """One sentence: what an 80 % range stands for at this size."""
    said = f"With {size}, read a stated 80 % range of rods as one that holds {_share(rods.c80)} of the time"
    if rods.c80_low > 0.8:
        return said + ": wider than it says."
    if rods.c80_high < 0.8:
        return said + ": narrower than it says."
    return said + ": no sign that it is wider or narrower than it says."


def _share(value: float | None) -> str:
    return "-" if value is None else f"{100 * value:.0f} %"


def _row(name: str, score: Score) -> str:
    reach = _share(score.c80)
    if score.c80_low is not None and score.c80_high is not None:
        reach += f" ({100 * score.c80_low:.0f}-{100 * score.c80_high:.0f})"
    width = "-" if score.width80 is None else f"{score.width80:.2f}"
    crps = "-" if score.crps is None else f"{score.crps:.3f}"
    pinball = "-" if score.pinball80 is None else f"{score.pinball80:.3f}"
    return f"  {name[:29]:<29}{_share(score.c50):>6}{reach:>15}{_share(score.c95):>7}{width:>6}{crps:>7}{pinball:>7}"
