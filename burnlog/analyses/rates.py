"""What the record says of rods and time over length: the ratio always, the model where the history holds one.

The ratio is sums over sums. The model adjusts for steel and conditions and gives each factor with its range; what
stands side by side (`by`) is never adjusted, and says so. Every figure carries its n.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import pandas as pd

from burnlog.analyses.forecasts import JobRatios, job_ratios
from burnlog.analyses.rate_design import design
from burnlog.analyses.rate_fit import Model, RateFit, Settings, fit_rates
from burnlog.analyses.shared_work import shared_work
from burnlog.analyses.spreads import Spread, spreads
from burnlog.analyses.tallies import NO_PLAN, Ratio, Scope, TallySet, decided_out, gather, ratio
from burnlog.columns import Frames
from burnlog.errors import FitError, InputError
from burnlog.stats.curves import fit_power_law

__all__ = ["BY", "Group", "JobRatios", "Listed", "Rates", "Term", "rates"]

BY = (
    *("crew", "diver", "job", "rig", "rod_type", "family", "thickness"),
    *("visibility", "position", "fouling", "current", "backing", "power"),
)
FEW_JOBS = 6
FEWEST_FOR_EXPONENT = 10
INTERVAL = (0.1, 0.9)


@dataclass(frozen=True)
class Term:
    """One condition's level against the usual level: a factor on the rate with its 80 % range and tallies."""

    term: str
    level: str
    against: str
    factor: float
    low: float
    high: float
    tallies: int


@dataclass(frozen=True)
class Group:
    """One level of what was asked for side by side: sums over sums, not adjusted for the work.

    `low` and `high` are the 80 % range of the group's ratio by a t on its jobs - 1; None below 3 jobs.
    """

    group: str
    level: str
    rods_per_m: float
    low: float | None
    high: float | None
    s_per_m: float | None
    s_low: float | None
    s_high: float | None
    tallies: int
    time_tallies: int
    jobs: int


@dataclass(frozen=True)
class Listed:
    """One tally as counted, for records too small for a model."""

    ref: str
    rods: float
    length_m: float
    thickness_mm: float | None
    elapsed_s: float | None


@dataclass(frozen=True, eq=False)
class Rates:
    """Rods and time over length of one scope.

    `rung` says how far the record carries: job and diver, job alone, job ratios, or ratio and list, and why no
    further. `listed` holds the tallies one by one where there is no model, `spreads` where the spread lies where
    there is one.
    """

    scope: Scope
    ratio: Ratio
    fit: RateFit | None
    why_no_fit: str
    rod_terms: tuple[Term, ...]
    time_terms: tuple[Term, ...]
    by: tuple[Group, ...]
    rung: str
    listed: tuple[Listed, ...]
    spreads: tuple[Spread, ...]
    job_ratios: JobRatios | None
    length_exponent: tuple[float, float, float] | None
    left_out: dict[str, int]
    outside: dict[str, int]
    time_left_out: dict[str, int]
    warnings: tuple[str, ...]
    made_up: bool
    settings: Settings

    def as_json(self) -> dict[str, Any]:
        """Keys as documented; SI."""
        found = self.ratio
        common = {"lines": found.lines, "jobs": found.jobs, "divers": found.divers}
        return {
            "made_up": self.made_up,
            "filter": self.scope.as_json(),
            "rods": {
                "ratio_per_m": found.rods_per_m,
                "rods": found.rods,
                "length_m": found.length_m,
                "tallies": found.tallies,
                **common,
                "finished_per_m": found.finished_per_m,
                "model": None if self.fit is None else _model(self.fit.rods, self.rod_terms),
            },
            "time": None
            if found.s_per_m is None
            else {
                "ratio_s_per_m": found.s_per_m,
                "s_per_rod": found.s_per_rod,
                "tallies": found.time_tallies,
                **common,
                "model": None
                if self.fit is None or self.fit.time is None
                else _model(self.fit.time, self.time_terms),
            },
            "by": [asdict(group) for group in self.by],
            "rung": self.rung,
            "settings": asdict(self.settings),
            "listed": [asdict(each) for each in self.listed],
            "spreads": [asdict(each) for each in self.spreads],
            "job_ratios": None if self.job_ratios is None else asdict(self.job_ratios),
            "length_exponent": None
            if self.length_exponent is None
            else dict(zip(("value", "low", "high"), self.length_exponent, strict=True)),
            "left_out": self.left_out,
            "outside_filter": self.outside,
            "time_left_out": self.time_left_out,
            "why_no_model": self.why_no_fit,
            "warnings": list(self.warnings),
        }


def _model(model: Model, terms: Sequence[Term]) -> dict[str, Any]:
    posterior = model.posterior
    low, high = (float(value) for value in model.ranges[:, 1])
    tags = posterior.tag_means
    return {
        "exponent": float(1 + posterior.coef[1]) if "start_m" in tags else float(posterior.coef[1]),
        "exponent_low": 1 + low if "start_m" in tags else low,
        "exponent_high": 1 + high if "start_m" in tags else high,
        "start_m": tags.get("start_m"),
        "terms": [asdict(term) for term in terms],
        "group_sd": {name: float(sd) for name, sd in posterior.group_sd.items()},
        "sigma": float(posterior.sigma),
        "khat": posterior.khat,
    }


def rates(
    frames: Frames,
    scope: Scope = Scope(),  # noqa: B008
    *,
    by: Sequence[str] = (),
    settings: Settings = Settings(),  # noqa: B008
    leave_out: Sequence[str] = (),
) -> Rates:
    """Rods and time over length.

    Parameters
    ----------
    frames : Frames
    scope : Scope
    by : sequence of str
        Members of `BY`, each set side by side.
    settings : Settings
        Of the fit; its thresholds decide whether there is a model.
    leave_out : sequence of str
        Targets to leave out beside those that a decision leaves out.

    Returns
    -------
    Rates

    Raises
    ------
    InputError
        An unknown `by`.
    RefusedError
        Nothing in the scope has rods and length; the message says what is there instead.
    """
    for name in by:
        if name not in BY:
            raise InputError(f"--by {name}: expected one of {', '.join(BY)}.")
    tallyset = gather(frames, scope, leave_out=(*decided_out(frames), *leave_out))
    found = ratio(tallyset)
    fit, why = None, ""
    try:
        fit = fit_rates(tallyset, settings=settings)
    except FitError as error:
        why = str(error)
    exponent = _length_exponent(tallyset)
    apart, notes = spreads(fit.rods) if fit else ((), ())
    between = job_ratios(fit.rods.design if fit else design(tallyset, settings))
    return Rates(
        scope=scope,
        ratio=found,
        fit=fit,
        why_no_fit=why,
        rod_terms=_terms(fit.rods) if fit else (),
        time_terms=_terms(fit.time) if fit and fit.time else (),
        by=tuple(group for name in by for group in _groups(tallyset, name)),
        rung=_rung(fit, between, why),
        listed=() if fit else _listed(tallyset.tallies),
        spreads=apart,
        job_ratios=between,
        length_exponent=exponent,
        left_out=tallyset.left_out_counts(),
        outside={reason: len(refs) for reason, refs in sorted(tallyset.outside.items())},
        time_left_out={reason: len(refs) for reason, refs in sorted(tallyset.time_left_out.items())},
        warnings=(*_warnings(tallyset, found, fit, why, exponent), *notes),
        made_up=bool(frames.jobs["made_up"].any()),
        settings=settings,
    )


def _rung(fit: RateFit | None, between: JobRatios | None, why: str) -> str:
    """How far the record carries, and why no further."""
    if fit is not None and "diver" in fit.rods.posterior.group_sd:
        return "job and diver effects, integrated"
    if fit is not None:
        return "job effect, integrated: fewer than two divers are named"
    return f"{'job ratios with t' if between else 'ratio and list'}: {why}"


def _listed(tallies: pd.DataFrame) -> tuple[Listed, ...]:
    columns = ["ref", "rods", "new_length_m", "thickness_mm", "elapsed_s"]
    plain = tallies[columns].astype(object).where(tallies[columns].notna(), None)
    return tuple(Listed(*row) for row in plain.itertuples(index=False))


def _terms(model: Model) -> tuple[Term, ...]:
    """Every level with a term, as a factor against its condition's usual level."""
    posterior = model.posterior
    low, high = model.ranges
    usual = {condition.name: condition.levels[0] for condition in model.design.conditions if condition.terms}
    terms = [term for condition in model.design.conditions for term in condition.terms]
    first = len(posterior.coef) - len(terms)
    out = []
    for place, (name, level) in enumerate(terms):
        factor, below, above = (float(np.exp(value[first + place])) for value in (posterior.coef, low, high))
        out.append(Term(name, level, usual[name], factor, below, above, model.design.tallies_with(place)))
    return tuple(out)


def _levels(tallyset: TallySet, name: str) -> pd.Series[Any]:
    """The level of each tally; a condition is that of most of its length, a thickness its quarter-inch band."""
    tallies = tallyset.tallies
    if name == "thickness":
        quarter = (tallies["thickness_mm"] / 6.35).round()
        text = quarter.map(lambda q: f"{6.35 * (q - 0.5):.1f} to {6.35 * (q + 0.5):.1f} mm", na_action="ignore")
        return text.where(tallies["thickness_mm"].notna())
    if name in ("job", "crew", "rig", "rod_type", "family"):
        return tallies[name]
    pieces = tallyset.pieces[tallyset.pieces[name].notna()]
    lengths = pieces.groupby(["tally_id", name])["new_length_m"].sum().reset_index()
    most = lengths.sort_values(["tally_id", "new_length_m"], kind="stable").groupby("tally_id").last()
    return most[name].reindex(tallies.index)


def _groups(tallyset: TallySet, name: str) -> list[Group]:
    tallies = tallyset.tallies
    level = _levels(tallyset, name).astype(object).fillna("not recorded")
    out = []
    for value in sorted(level.unique(), key=_order):
        rows = tallies[level == value]
        timed = rows[rows["elapsed_s"].notna()]
        length = float(rows["new_length_m"].sum())
        low, high = _job_range(rows, "rods")
        s_low, s_high = _job_range(timed, "elapsed_s")
        out.append(
            Group(
                group=name,
                level=str(value),
                rods_per_m=float(rows["rods"].sum()) / length,
                low=low,
                high=high,
                s_per_m=float(timed["elapsed_s"].sum() / timed["new_length_m"].sum()) if len(timed) else None,
                s_low=s_low,
                s_high=s_high,
                tallies=len(rows),
                time_tallies=len(timed),
                jobs=int(rows["job"].nunique()),
            )
        )
    return out


def _order(value: object) -> tuple[bool, float, str]:
    """Numbers in their order, words in theirs, blanks last."""
    text = str(value)
    head = text.split(" ")[0]
    number = float(head) if head.replace(".", "", 1).isdigit() else 0.0
    return text == "not recorded", number, text


def _job_range(rows: pd.DataFrame, amount: str) -> tuple[float | None, float | None]:
    """80 % range of a group's own ratio: t on jobs - 1 over the jobs' residuals (the linearised ratio)."""
    from scipy.stats import t

    sums = rows.groupby("job")[[amount, "new_length_m"]].sum()
    jobs = len(sums)
    if jobs < 3:
        return None, None
    total, length = float(sums[amount].sum()), float(sums["new_length_m"].sum())
    residual = (sums[amount] - total / length * sums["new_length_m"]).to_numpy(dtype=float)
    error = float(np.sqrt(jobs / (jobs - 1) * np.sum(residual**2)) / total)
    reach = float(t.ppf(INTERVAL[1], jobs - 1)) * error
    return total / length * float(np.exp(-reach)), total / length * float(np.exp(reach))


def _length_exponent(tallyset: TallySet) -> tuple[float, float, float] | None:
    """How rods grow with the length of a single line, given its thickness: below 1 where starts cost rods."""
    tallies = tallyset.tallies
    single = tallies[(tallies["lines"] == 1) & tallies["thickness_mm"].notna() & (tallies["rods"] > 0)]
    if len(single) < FEWEST_FOR_EXPONENT or single["job"].nunique() < 3:
        return None
    log_t = np.log(single["thickness_mm"].to_numpy(dtype=float))
    others = (log_t - log_t.mean())[:, None] if np.ptp(log_t) > 1e-9 else None
    try:
        found = fit_power_law(
            single["new_length_m"].to_numpy(dtype=float),
            single["rods"].to_numpy(dtype=float),
            others=others,
            groups=single["job"].to_list(),
        )
    except FitError:
        return None  # lengths that do not vary say nothing of how rods grow with them
    return found.exponent, found.low, found.high


def _warnings(
    tallyset: TallySet,
    found: Ratio,
    fit: RateFit | None,
    why: str,
    exponent: tuple[float, float, float] | None,
) -> tuple[str, ...]:
    said = list(found.sentences())
    if fit is None:
        said.append(f"no model: {why}")
    elif found.jobs < FEW_JOBS:
        said.append(f"fewer than {FEW_JOBS} jobs: ranges for a new job lean on the spread assumed between jobs")
    if fit is not None and fit.time is None:
        said.append(f"no model of time: {fit.time_refused}")
    if exponent is not None and exponent[2] < 1:
        said.append(
            f"rods grow with length to the power {exponent[0]:.2f} ({exponent[1]:.2f}-{exponent[2]:.2f}), below 1: "
            "every line pays for its start, so a rate from short pieces is too high for long ones"
        )
    work = shared_work(tallyset.tallies["crew"], tallyset.tallies["job"])
    apart = sorted(code for code in work.part if not work.shared[code])
    if apart and len(work.part) > 1:
        said.append(f"crew {', '.join(apart)}: cannot be told apart from the job; nobody else worked it")
    said.extend(f"{number} {what}" for what, number in sorted(tallyset.notes.items()) if what != NO_PLAN)
    return tuple(said)
