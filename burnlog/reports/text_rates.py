"""Rates as text for the terminal: the ratio first, then the model, then what was left out. ASCII, 80 columns."""

from __future__ import annotations

from collections.abc import Sequence

from burnlog.analyses.rates import Rates, Term
from burnlog.charts.amounts import length_unit, rods_named
from burnlog.reports.cautions import MADE_UP
from burnlog.reports.lines import ascii_text, wrapped
from burnlog.reports.page import counted_words
from burnlog.wording import number_of

__all__ = ["rates_text"]

SMALL = 30
"""Tallies below which figures carry two digits at most."""


def _digits(value: float, tallies: int) -> str:
    return f"{value:.2g}" if tallies < SMALL else f"{value:.3g}"


def rates_text(found: Rates, *, profile: str = "metric") -> str:
    """Everything `rates` found, n beside each figure."""
    it, (per, unit) = found.ratio, length_unit(profile)
    lines = [MADE_UP] if found.made_up else []
    n = f"{number_of(it.tallies, 'tally', 'tallies')}, {number_of(it.lines, 'line')}, "
    n += f"{number_of(it.jobs, 'job')}, {number_of(it.divers, 'diver')}"
    lines.append(
        f"Rods per {unit}: {_digits(it.rods_per_m * per, it.tallies)}   "
        f"({it.rods:.5g} rods / {it.length_m / per:.5g} {unit})"
    )
    lines.append(f"  {n}")
    if it.finished_per_m is not None:
        lines.append(
            f"  on finished lines only: {_digits(it.finished_per_m * per, it.finished_tallies)} "
            f"({it.finished_tallies} tallies)"
        )
    if it.s_per_m is not None and it.s_per_rod is not None:
        lines.append(
            f"Cut time per {unit}: {_digits(it.s_per_m * per / 60, it.time_tallies)} min; per rod "
            f"{_digits(it.s_per_rod / 60, it.time_tallies)} min   ({it.time_tallies} tallies with times)"
        )
    lines += _model(found, profile)
    lines += _listed(found, profile)
    for name in dict.fromkeys(group.group for group in found.by):
        lines += _side_by_side(found, name, profile)
    if found.job_ratios is not None:
        check = found.job_ratios
        lines += [
            "",
            *wrapped(
                f"Cross-check from job to job: over {check.jobs} jobs left out one by one, the next job's 80 % range "
                f"is {check.low:.2f} to {check.high:.2f} times what its steel and conditions lead one to expect."
            ),
        ]
    if found.warnings:
        lines += ["", "To know", *(line for text in found.warnings for line in wrapped("- " + text, "  "))]
    if found.left_out:
        lines += ["", *wrapped(f"Left out of {found.ratio.in_scope} in scope: {counted_words(found.left_out)}.")]
    if found.outside:
        lines += wrapped(f"Outside the filter: {counted_words(found.outside)}.")
    return ascii_text(lines)


def _model(found: Rates, profile: str) -> list[str]:
    if found.fit is None:
        return []
    result = found.as_json()["rods"]["model"]
    per, unit = length_unit(profile)
    sds = ", ".join(f"{name}s {sd:.2f}" for name, sd in result["group_sd"].items())
    lines = ["", "Model of rods (80 % ranges; weak priors stand behind each figure)"]
    lines.append(f"  {found.rung}")
    kept = found.settings
    lines += wrapped(
        f"from {kept.min_tallies} tallies and {kept.min_jobs} jobs on; priors, in burn-to-burn spreads: "
        f"thickness power 1 +- {kept.exponent_scale:g}, conditions 0 +- {kept.contrast_scale:g}, "
        f"between jobs up to about {kept.job_scale:g}, divers {kept.diver_scale:g}; start up to about "
        f"{kept.start_scale_m:g} m",
        "  ",
    )
    reach = f"{result['exponent_low']:.2f}-{result['exponent_high']:.2f}"
    lines.append(f"  thickness to the power {result['exponent']:.2f} ({reach})")
    lines.append(f"  a start is worth {result['start_m'] / per:.2f} {unit} of line")
    lines.append(f"  spread (log scale): between {sds}, burn to burn {result['sigma']:.2f}")
    if found.spreads:
        parts = ", ".join(f"{each.between} {each.sd:.2f} ({each.levels})" for each in found.spreads[:-1])
        burn = found.spreads[-1]
        text = f"the same by a plug-in fit, too sure of itself with few groups: {parts}, burn {burn.sd:.2f}"
        lines += wrapped(text, "  ")
    lines += _terms("rods", found.rod_terms, profile)
    lines += _terms("minutes per rod", found.time_terms, profile)
    return lines


def _listed(found: Rates, profile: str) -> list[str]:
    if not found.listed:
        return []
    per, unit = length_unit(profile)
    lines = ["", f"The tallies, one by one ({len(found.listed)})", f"  {'tally':<34}{'rods':>8}{unit:>8}{'min':>8}"]
    for each in found.listed[:SMALL]:
        minutes = "-" if each.elapsed_s is None else f"{each.elapsed_s / 60:.0f}"
        lines.append(f"  {each.ref[:34]:<34}{each.rods:>8.3g}{each.length_m / per:>8.2f}{minutes:>8}")
    if len(found.listed) > SMALL:
        lines.append(f"  and {len(found.listed) - SMALL} more; --json lists them all")
    return lines


def _terms(what: str, terms: Sequence[Term], profile: str) -> list[str]:
    if not terms:
        return []
    lines = [f"  {what + ', by':<28} {'against':<20} factor  80 % range  tallies"]
    for term in terms:
        name = f"{term.term}: {rods_named(term.level, profile)}"[:28]
        reach = f"{term.low:.2f} - {term.high:.2f}"
        against = rods_named(term.against, profile)[:20]
        lines.append(f"  {name:<28} {against:<20} {term.factor:>6.2f}  {reach}  {term.tallies:>7}")
    return lines


def _side_by_side(found: Rates, name: str, profile: str) -> list[str]:
    per, unit = length_unit(profile)
    lines = ["", f"By {name} (sums over sums, not adjusted for the work each was given)"]
    lines.append(f"  {name:<22} {f'rods/{unit}':>8} {'80 % range':>13} {f'min/{unit}':>8} {'tallies':>8} {'jobs':>5}")
    for group in found.by:
        if group.group != name:
            continue
        reach = "-" if group.low is None or group.high is None else f"{group.low * per:.2f}-{group.high * per:.2f}"
        minutes = "-" if group.s_per_m is None else f"{group.s_per_m * per / 60:.2f}"
        rods = _digits(group.rods_per_m * per, group.tallies)
        lines.append(
            f"  {group.level[:22]:<22} {rods:>8} {reach:>13} {minutes:>8} {group.tallies:>8} {group.jobs:>5}"
        )
    return lines
