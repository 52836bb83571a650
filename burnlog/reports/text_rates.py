"""Rates as text for the terminal: the ratio first, then the model, then what was left out. ASCII, 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from burnlog.analyses.rates import Rates, Term
from burnlog.reports.cautions import MADE_UP

__all__ = ["rates_text"]

M_PER_FT = 0.3048
WIDTH = 79
SMALL = 30
"""Tallies below which figures carry two digits at most."""


def _wrapped(text: str, indent: str = "  ") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent + "  ")


def _digits(value: float, tallies: int) -> str:
    return f"{value:.2g}" if tallies < SMALL else f"{value:.3g}"


def rates_text(found: Rates, *, profile: str = "metric") -> str:
    """Everything `rates` found, n beside each figure."""
    us = profile == "us"
    scale, unit = (M_PER_FT, "ft") if us else (1.0, "m")
    it = found.ratio
    length = it.length_m / (M_PER_FT if us else 1.0)
    lines = [MADE_UP] if found.made_up else []
    n = f"{it.tallies} tallies, {it.lines} lines, {it.jobs} jobs, {it.divers} divers"
    lines.append(
        f"Rods per {unit}: {_digits(it.rods_per_m * scale, it.tallies)}   ({it.rods:.5g} rods / {length:.5g} {unit})"
    )
    lines.append(f"  {n}")
    if it.finished_per_m is not None:
        lines.append(
            f"  on finished lines only: {_digits(it.finished_per_m * scale, it.finished_tallies)} "
            f"({it.finished_tallies} tallies)"
        )
    if it.s_per_m is not None and it.s_per_rod is not None:
        lines.append(
            f"Cut time per {unit}: {_digits(it.s_per_m * scale / 60, it.time_tallies)} min; per rod "
            f"{_digits(it.s_per_rod / 60, it.time_tallies)} min   ({it.time_tallies} tallies with times)"
        )
    lines += _model(found, us)
    lines += _listed(found, us)
    for name in dict.fromkeys(group.group for group in found.by):
        lines += _side_by_side(found, name, us)
    if found.job_ratios is not None:
        check = found.job_ratios
        lines += [
            "",
            *_wrapped(
                f"Cross-check from job to job: over {check.jobs} jobs left out one by one, the next job's 80 % range "
                f"is {check.low:.2f} to {check.high:.2f} times what its steel and conditions lead one to expect.",
                "",
            ),
        ]
    if found.warnings:
        lines += ["", "To know", *(line for text in found.warnings for line in _wrapped("- " + text))]
    if found.left_out:
        listed = ", ".join(f"{number} {reason}" for reason, number in found.left_out.items())
        lines += ["", *_wrapped(f"Left out of {found.ratio.in_scope} in scope: {listed}.", "")]
    if found.outside:
        listed = ", ".join(f"{number} {reason}" for reason, number in found.outside.items())
        lines += _wrapped(f"Outside the filter: {listed}.", "")
    return "\n".join(lines)


def _model(found: Rates, us: bool) -> list[str]:
    if found.fit is None:
        return []
    result = found.as_json()["rods"]["model"]
    start = f"{result['start_m'] / M_PER_FT:.2f} ft" if us else f"{result['start_m']:.2f} m"
    sds = ", ".join(f"{name}s {sd:.2f}" for name, sd in result["group_sd"].items())
    lines = ["", "Model of rods (80 % ranges; weak priors stand behind each figure)"]
    lines.append(f"  {found.rung}")
    kept = found.settings
    lines += _wrapped(
        f"from {kept.min_tallies} tallies and {kept.min_jobs} jobs on; priors, in burn-to-burn spreads: "
        f"thickness power 1 +- {kept.exponent_scale:g}, conditions 0 +- {kept.contrast_scale:g}, "
        f"between jobs up to about {kept.job_scale:g}, divers {kept.diver_scale:g}; start up to about "
        f"{kept.start_scale_m:g} m"
    )
    reach = f"{result['exponent_low']:.2f}-{result['exponent_high']:.2f}"
    lines.append(f"  thickness to the power {result['exponent']:.2f} ({reach})")
    lines.append(f"  a start is worth {start} of line")
    lines.append(f"  spread (log scale): between {sds}, burn to burn {result['sigma']:.2f}")
    if found.spreads:
        parts = ", ".join(f"{each.between} {each.sd:.2f} ({each.levels})" for each in found.spreads[:-1])
        burn = found.spreads[-1]
        text = f"the same by a plug-in fit, too sure of itself with few groups: {parts}, burn {burn.sd:.2f}"
        lines += _wrapped(text)
    lines += _terms("rods", found.rod_terms)
    lines += _terms("minutes per rod", found.time_terms)
    return lines


def _listed(found: Rates, us: bool) -> list[str]:
    if not found.listed:
        return []
    scale, unit = (M_PER_FT, "ft") if us else (1.0, "m")
    lines = ["", f"The tallies, one by one ({len(found.listed)})", f"  {'tally':<34}{'rods':>8}{unit:>8}{'min':>8}"]
    for each in found.listed[:SMALL]:
        minutes = "-" if each.elapsed_s is None else f"{each.elapsed_s / 60:.0f}"
        lines.append(f"  {each.ref[:34]:<34}{each.rods:>8.3g}{each.length_m / scale:>8.2f}{minutes:>8}")
    if len(found.listed) > SMALL:
        lines.append(f"  and {len(found.listed) - SMALL} more; --json lists them all")
    return lines


def _terms(what: str, terms: Sequence[Term]) -> list[str]:
    if not terms:
        return []
    lines = [f"  {what + ', by':<32} {'against':<16} factor  80 % range  tallies"]
    for term in terms:
        name = f"{term.term}: {term.level}"[:32]
        reach = f"{term.low:.2f} - {term.high:.2f}"
        lines.append(f"  {name:<32} {term.against[:16]:<16} {term.factor:>6.2f}  {reach}  {term.tallies:>7}")
    return lines


def _side_by_side(found: Rates, name: str, us: bool) -> list[str]:
    scale, unit = (M_PER_FT, "ft") if us else (1.0, "m")
    lines = ["", f"By {name} (sums over sums, not adjusted for the work each was given)"]
    lines.append(f"  {name:<22} {f'rods/{unit}':>8} {'80 % range':>13} {f'min/{unit}':>8} {'tallies':>8} {'jobs':>5}")
    for group in found.by:
        if group.group != name:
            continue
        reach = (
            "-" if group.low is None or group.high is None else f"{group.low * scale:.2f}-{group.high * scale:.2f}"
        )
        minutes = "-" if group.s_per_m is None else f"{group.s_per_m * scale / 60:.2f}"
        rods = _digits(group.rods_per_m * scale, group.tallies)
        lines.append(
            f"  {group.level[:22]:<22} {rods:>8} {reach:>13} {minutes:>8} {group.tallies:>8} {group.jobs:>5}"
        )
    return lines
