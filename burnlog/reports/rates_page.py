"""The page of the rates: curve, conditions, start, exponent, whether the fit holds, and what was left out."""

from __future__ import annotations

from collections.abc import Sequence

from burnlog.analyses.fit_check import Band, FitCheck
from burnlog.analyses.rate_curve import CurvePoint
from burnlog.analyses.rates import Group, Rates, Term
from burnlog.charts.amounts import length_unit, rods_named, steel_unit
from burnlog.charts.fit_check import check_charts, groups_finding, jobs_finding, residual_finding
from burnlog.charts.rates import curve_finding, rate_charts, terms_finding
from burnlog.reports.cautions import cautions
from burnlog.reports.page import Head, Page, Table, counted_words, page_of
from burnlog.wording import number_of

__all__ = ["rates_page"]


def rates_page(
    found: Rates, curve: Sequence[CurvePoint], check: FitCheck, head: Head, *, profile: str = "metric"
) -> Page:
    """The page of the rates.

    Parameters
    ----------
    found : Rates
    curve : sequence of CurvePoint
        From `burnlog.analyses.rate_curve`; empty where no curve can be drawn.
    check : FitCheck
        From `burnlog.analyses.fit_check`: what the residuals and the jobs left out say.
    head : Head
    profile : str
        ``us`` or ``metric``.
    """
    it = found.ratio
    charts = {**rate_charts(found, curve, profile=profile), **check_charts(check, profile=profile)}
    terms = [
        (name, terms_finding(rows, what, profile=profile), _terms(rows, what, profile))
        for name, rows, what in (
            ("rod_terms", found.rod_terms, "rods"),
            ("time_terms", found.time_terms, "minutes per rod"),
        )
        if rows
    ]
    return page_of(
        "rates.html",
        head,
        charts=charts,
        cautions=cautions("review", closed_space=head.closed_space, tallies=it.tallies, jobs=it.jobs),
        used=f"{number_of(it.tallies, 'tally', 'tallies')} on {number_of(it.jobs, 'job')}, "
        f"{it.time_tallies} of them with times",
        left_out=found.left_out,
        answer=_answer(found, profile),
        rung=found.rung,
        curve_finding=curve_finding(found, curve, profile),
        curve=_curve(curve, profile),
        terms=terms,
        model=_model(found, profile),
        checks=[
            (name if name in charts else "", finding, table)
            for name, finding, table in (
                ("residuals", residual_finding(check), _bands(check, profile)),
                ("residual_groups", groups_finding(check), _groups(check)),
                ("jobs_left_out", jobs_finding(check), _jobs(check)),
            )
            if name in charts or name != "residual_groups"
        ],
        by=[_by(found, name, profile) for name in dict.fromkeys(group.group for group in found.by)],
        warnings=found.warnings,
        outside=counted_words(found.outside),
    )


def _answer(found: Rates, profile: str) -> str:
    it, (per, unit) = found.ratio, length_unit(profile)
    said = [
        f"{it.rods_per_m * per:.3g} rods per {unit}: {it.rods:,.0f} rods over {it.length_m / per:,.0f} {unit} of "
        f"cut line, {number_of(it.tallies, 'tally', 'tallies')}, {number_of(it.lines, 'line')}, "
        f"{number_of(it.jobs, 'job')}, {number_of(it.divers, 'diver')}."
    ]
    if it.s_per_m is not None and it.s_per_rod is not None:
        said.append(
            f"Cut time {it.s_per_m * per / 60:.2g} min per {unit}, {it.s_per_rod / 60:.2g} min per rod "
            f"({it.time_tallies} tallies)."
        )
    return " ".join(said)


def _curve(curve: Sequence[CurvePoint], profile: str) -> Table | None:
    if not curve:
        return None
    (per, unit), (steel, thick) = length_unit(profile), steel_unit(profile)
    rows = [
        (
            rods_named(point.rods, profile),
            f"{point.thickness_mm / steel:.3g} {thick}",
            f"{point.middle * per:.2f}",
            f"{point.low * per:.2f} - {point.high * per:.2f}",
            str(point.tallies),
            str(point.jobs),
        )
        for place, point in enumerate(curve)
        if place % 2 == 0 and point.tallies > 0
    ]
    return Table.of(
        "One usual line in a new job, in the history's own mix of conditions; tallies within an eighth of the "
        "thickness, and no row where there is none. A curve ends where its record ends.",
        ("rods", "thickness", f"rods per {unit}, middle", "80 % range", "tallies", "jobs"),
        rows,
        numeric=(1, 2, 3, 4, 5),
    )


def _terms(terms: Sequence[Term], what: str, profile: str) -> Table:
    return Table.of(
        f"Factors on {what}; one without a row is too rare for a figure of its own.",
        ("condition", "against", "factor", "80 % range", "tallies"),
        [
            (
                f"{t.term}: {rods_named(t.level, profile)}",
                rods_named(t.against, profile),
                f"{t.factor:.2f}",
                f"{t.low:.2f} - {t.high:.2f}",
                str(t.tallies),
            )
            for t in terms
        ],
        numeric=(2, 3, 4),
    )


def _model(found: Rates, profile: str) -> Table | None:
    """Start, exponents and spreads, in words beside their figures."""
    model = found.as_json()["rods"]["model"]
    rows: list[tuple[str, str, str]] = []
    if model is not None:
        per, unit = length_unit(profile)
        rows += [
            (
                "thickness exponent",
                f"{model['exponent']:.2f} ({model['exponent_low']:.2f} - {model['exponent_high']:.2f})",
                "rods grow as the thickness to this power; 1 is in proportion",
            ),
            (
                "cost of a start",
                f"{model['start_m'] / per:.2f} {unit}",
                "each line takes the rods of so much more line than it has",
            ),
        ]
    if found.length_exponent is not None:
        value, low, high = found.length_exponent
        said = "below 1: a rate from short pieces is too high for long ones" if high < 1 else "near 1: no start seen"
        rows.append(("length exponent, single lines", f"{value:.2f} ({low:.2f} - {high:.2f})", said))
    if model is not None:
        for name, sd in model["group_sd"].items():
            rows.append((f"spread between {name}s", f"{sd:.2f}", "on the log scale: 0.20 is about 20 % up or down"))
        rows.append(("spread burn to burn", f"{model['sigma']:.2f}", "one usual tally"))
    if found.job_ratios is not None:
        check = found.job_ratios
        rows.append(
            (
                "next job against this history",
                f"x {check.low:.2f} - {check.high:.2f}",
                f"80 % range over {check.jobs} jobs left out one by one: a cross-check without the model",
            )
        )
    if not rows:
        return None
    return Table.of(
        "80 % ranges in brackets; weak priors stand behind the model's figures.",
        ("figure", "value", "what it means"),
        rows,
        numeric=(1,),
    )


def _bands(check: FitCheck, profile: str) -> Table | None:
    """Mean residuals by size and by steel."""
    rows = []
    for band in (*check.of("expected rods"), *check.of("thickness")):
        size, unit = steel_unit(profile) if band.by == "thickness" else (1.0, "rods")
        low, high = (0.0 if end is None else end / size for end in (band.low, band.high))
        rows.append((band.by, f"{low:.3g} to {high:.3g} {unit}", *_mean(band)))
    if not rows:
        return None
    return Table.of(
        "Mean of rods over expected, in spreads: near 0 where the fit suits this size or steel",
        ("by", "band", "tallies", "mean", "leans"),
        rows,
        numeric=(1, 2, 3),
    )


def _groups(check: FitCheck) -> Table | None:
    rows = [(band.by, band.name, *_mean(band)) for by in ("job", "diver") for band in check.of(by)]
    if not rows:
        return None
    return Table.of(
        "The same by job and diver, in code order; a diver's only where one person's count",
        ("by", "code", "tallies", "mean", "leans"),
        rows,
        numeric=(2, 3),
    )


def _mean(band: Band) -> tuple[str, str, str]:
    return (
        str(band.tallies),
        f"{band.mean:+.2f}",
        ("more rods" if band.mean > 0 else "fewer rods") if band.clear else "no",
    )


def _jobs(check: FitCheck) -> Table | None:
    rows = [
        (
            job.job,
            f"{job.actual_rods:.0f}",
            f"{job.p50:.0f}",
            f"{job.p10:.0f} - {job.p90:.0f}",
            "holds" if job.p10 <= job.actual_rods <= job.p90 else "misses",
            f"{job.tallies_before} on {job.jobs_before}",
        )
        for job in check.jobs
    ]
    if not rows:
        return None
    return Table.of(
        "Each job as the others alone would have forecast it, in order of time",
        ("job", "rods burned", "middle forecast", "80 % range", "range", "from tallies on jobs"),
        rows,
        numeric=(1, 2, 3, 5),
    )


def _by(found: Rates, name: str, profile: str) -> Table:
    per, unit = length_unit(profile)

    def row(group: Group) -> tuple[str, ...]:
        known = group.low is not None and group.high is not None
        reach = f"{group.low * per:.2f} - {group.high * per:.2f}" if known else "-"  # type: ignore[operator]
        minutes = "-" if group.s_per_m is None else f"{group.s_per_m * per / 60:.2f}"
        return (
            group.level,
            f"{group.rods_per_m * per:.2f}",
            reach,
            minutes,
            str(group.tallies),
            str(group.jobs),
        )

    return Table.of(
        f"By {name}: sums over sums, not adjusted for the work each was given",
        (name.replace("_", " "), f"rods per {unit}", "80 % range", f"min per {unit}", "tallies", "jobs"),
        [row(group) for group in found.by if group.group == name],
        numeric=(1, 2, 3, 4, 5),
    )
