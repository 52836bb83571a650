"""Bids: an estimate drafted from a take-off, issued, made again and closed. How good they were: `hindsight`."""

from __future__ import annotations

import json
import textwrap
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from burnlog.cli.context import Context, say, say_json, tell
from burnlog.cli.options import AsJson, Counted, Crew, Family, Floor, Seed, Water, bundled, whole
from burnlog.errors import ConflictError, InputError
from burnlog.library.bids import own_sections, read_takeoff_file

if TYPE_CHECKING:
    from burnlog.analyses.basis import Basis
    from burnlog.analyses.estimate import Adjustment, Estimate, Plan
    from burnlog.analyses.takeoff import TakeOff

__all__ = ["kept", "profile_of", "register"]


@dataclass(frozen=True)
class Priced(Counted):
    """Which part of the history a bid rests on."""

    family: Family = None
    crew: Crew = None


@dataclass(frozen=True)
class Planned(Floor):
    """What is planned for the job, and how often it is drawn."""

    bottom_time: Annotated[str | None, typer.Option(help="Bottom time of a dive, from the tables in use, 40min.")] = (
        None
    )
    start_up: Annotated[str | None, typer.Option(help="Start-up and clear-up on the bottom, 15min.")] = None
    dives_per_day: Annotated[str | None, typer.Option(help="Dives a day.")] = None
    cutting_share: Annotated[
        str | None, typer.Option(help="Share of the rest spent cutting, in place of your history's.")
    ] = None
    bank: Annotated[str | None, typer.Option(help="Bank whose cylinders are ordered.")] = None
    adjust: Annotated[list[str] | None, typer.Option(help="Judgement on the record, rods=+15%; needs --why.")] = None
    why: Annotated[str | None, typer.Option(help="Reason for --adjust.")] = None
    allow_outside: Annotated[str | None, typer.Option(help="Reason for going beyond what was logged.")] = None
    named: Annotated[list[str] | None, typer.Option("--diver", help="A diver of your history who will do it.")] = None
    rest_of: Annotated[str | None, typer.Option("--rest-of", help="The rest of this job, with its own effect.")] = (
        None
    )
    standby: Annotated[str | None, typer.Option("--standby-days", help="Days of standby to be paid for.")] = None
    seed: Seed = "1"
    draws: Annotated[str, typer.Option(help="Simulated jobs, 2000 or more.")] = "10000"

    def plan(self) -> Plan:
        """The plan that the options describe, read as everything typed is read."""
        from burnlog.analyses.estimate import Plan

        return Plan(
            bottom_time_s=_value(self.bottom_time, "bottom_time"),
            start_up_s=_value(self.start_up, "bottom_time"),
            dives_per_day=_value(self.dives_per_day, "number"),
            cutting_share=_share(self.cutting_share),
            bank=self.bank,
            needed_kpa=self.needed_kpa,
            margin_kpa=self.margin_kpa,
            adjustments=tuple(self._adjustment(text) for text in self.adjust or ()),
            allow_outside=self.allow_outside,
            divers=tuple(self.named or ()),
            job=self.rest_of,
            standby_days=_value(self.standby, "number"),
            seed=whole(self.seed, "--seed"),
            draws=whole(self.draws, "--draws"),
        )

    def _adjustment(self, text: str) -> Adjustment:
        from burnlog.analyses.estimate import Adjustment

        what, _, amount = text.partition("=")
        if not self.why or not self.why.strip():
            raise InputError(f"--adjust {text}: a judgement needs its reason (--why).")
        sign = -1.0 if amount.strip().startswith("-") else 1.0
        percent = _value(amount.strip().lstrip("+-"), "percent")
        if percent is None:
            raise InputError(f"--adjust {text}: write it as rods=+15%.")
        return Adjustment(what.strip().lower(), sign * percent / 100, self.why.strip())


def _value(text: str | None, kind: str) -> float | None:
    from burnlog import units

    return None if text is None else units.read(text, kind).value


def _share(text: str | None) -> float | None:
    """A share typed as 0.6 or as 60 %."""
    if text is None or "%" not in text:
        return _value(text, "number")
    percent = _value(text, "percent")
    return None if percent is None else percent / 100


def register(app: typer.Typer) -> None:
    """Put the commands of this group on the application."""
    group = typer.Typer(
        help="Draft a bid from a take-off, issue it, repeat it, close it.",
        rich_markup_mode=None,
        no_args_is_help=True,
    )
    for command in (draft, issue, rerun, close):
        group.command()(bundled(command))
    app.add_typer(group, name="estimate", rich_help_panel="Plan")


def draft(
    ctx: typer.Context,
    only: Priced,
    planned: Planned,
    takeoff: Annotated[Path | None, typer.Argument(help="Take-off file, CSV or XLSX.")] = None,
    blank: Annotated[Path | None, typer.Option(help="Write a blank take-off here instead, .csv or .xlsx.")] = None,
    vary: Annotated[
        list[str] | None, typer.Option(help="What if: bottom-time=30min,40min or visibility='by feel,1-3 ft'.")
    ] = None,
    water: Water = None,
    as_json: AsJson = False,
) -> None:
    """Estimate a take-off: rods, cut time, dives, oxygen and cost, each as a range with its basis.

    Example: burnlog estimate draft takeoff.csv --bottom-time 40min --start-up 15min
    """
    if blank is not None:
        _write_blank(Context.of(ctx), blank)
        return
    if takeoff is None:
        raise InputError(
            "a take-off file is needed; `burnlog estimate draft --blank takeoff.csv` makes an empty one."
        )
    from burnlog.analyses.estimate import draft as drafted
    from burnlog.analyses.whatif import vary as varied
    from burnlog.reports.text_plan import estimate_text, vary_text

    context = Context.of(ctx)
    plan = planned.plan()
    made = drafted(*_history(context, takeoff, only, water), plan, fit_by=context.fits())
    tables = [(name, varied(made, name, levels)) for name, levels in map(_vary, vary or ())]
    if as_json:
        out = made.as_json()
        for name, rows in tables:
            out.setdefault("vary", []).append(
                {"what": name, "levels": [{"level": level, "rods": _rods_or_none(one)} for level, one in rows]}
            )
        say_json({**out, "cautions": list(_cautions(made))})
        return
    text = estimate_text(made, profile=profile_of(context, made))
    for name, rows in tables:
        text += "\n\n" + vary_text(name, rows)
    say(text + "\n\n" + _caution_block(made))


def _rods_or_none(made: Estimate | None) -> dict[str, float] | str:
    from burnlog.analyses.estimate import spread_of

    return "no history" if made is None else spread_of(made.rods)


def _cautions(made: Estimate) -> tuple[str, ...]:
    from burnlog.reports.cautions import cautions

    return cautions(
        "estimate", closed_space=made.basis.closed_space, tallies=made.ratio.tallies, jobs=made.ratio.jobs
    )


def _caution_block(made: Estimate) -> str:
    from burnlog.reports.cautions import caution_block

    return caution_block(
        "estimate", closed_space=made.basis.closed_space, tallies=made.ratio.tallies, jobs=made.ratio.jobs
    )


def _history(context: Context, path: Path, only: Priced, water: str | None) -> tuple[Basis, TakeOff]:
    """The history in the log, and a take-off file read with its rod types and sections."""
    from burnlog.analyses.basis import basis_of
    from burnlog.store.frames import load_frames

    with context.open() as log:
        frames = load_frames(log)
        basis = basis_of(frames, only.scope(frames), db_id=log.db_id)
        sections = own_sections(log)
    families = {code: row.get("family") for code, row in basis.rod_types.items()}
    return basis, read_takeoff_file(path, sections, families, water)


def profile_of(context: Context, made: Estimate) -> str:
    """How a bid is shown: as the job whose rest it is, or as the jobs of its history, read numbers."""
    codes = {made.plan.job} if made.plan.job else set(made.basis.tallyset.tallies["job"])
    with context.open() as log:
        jobs = log.rows("SELECT code, units_profile FROM job WHERE voided_at IS NULL")
    return context.profile(row["units_profile"] for row in jobs if row["code"] in codes)


def _write_blank(context: Context, path: Path) -> None:
    from burnlog.analyses.takeoff import COLUMNS, WORD_LISTS
    from burnlog.cli.blank_takeoff import write_blank

    codes: tuple[str, ...] = ()
    if context.db.is_file():
        with context.open() as log:
            rows = log.rows("SELECT code FROM rod_type WHERE voided_at IS NULL ORDER BY code")
            codes = tuple(str(row["code"]) for row in rows)
    write_blank(path, COLUMNS, {**WORD_LISTS, "section": "section_kind"}, rod_types=codes)
    say(f"{path}: one row per item.")
    for name, meaning in COLUMNS.items():
        say(textwrap.fill(f"  {name:<12} {meaning}", 79, subsequent_indent=" " * 15))


def _vary(text: str) -> tuple[str, list[Any]]:
    """`bottom-time=30min,40min` as a name of the plan and its values."""
    from burnlog import units, vocabulary
    from burnlog.analyses.takeoff import CONDITIONS

    name, _, levels = text.partition("=")
    words = [level.strip() for level in levels.split(",") if level.strip()]
    if not words:
        raise InputError(f"--vary {text}: write what and the levels, as in bottom-time=30min,40min.")
    key = name.strip().lower()
    if key in CONDITIONS:
        return key, [vocabulary.match(word, key) for word in words]
    kinds = {"bottom-time": "bottom_time_s", "start-up": "start_up_s"}
    if key not in kinds:
        raise InputError(f"--vary {name}: expected bottom-time, start-up or one of {', '.join(CONDITIONS)}.")
    return kinds[key], [units.read(word, "bottom_time", unit="min").value for word in words]


def issue(
    ctx: typer.Context,
    only: Priced,
    planned: Planned,
    code: Annotated[str, typer.Argument(help="Number of the estimate, E7.")],
    takeoff: Annotated[Path, typer.Argument(help="Take-off file, CSV or XLSX.")],
    title: Annotated[str | None, typer.Option(help="What it is for.")] = None,
    water: Water = None,
) -> None:
    """Issue an estimate: it is kept with all it was made from and never changes again.

    Example: burnlog estimate issue E7 takeoff.csv --bottom-time 40min --start-up 15min
    """
    from burnlog.analyses.estimate import draft as drafted
    from burnlog.analyses.frozen import content_hash, freeze
    from burnlog.reports.text_plan import estimate_text
    from burnlog.store.kept import issue_estimate, save_estimate

    context = Context.of(ctx)
    plan = planned.plan()
    with context.open() as log:
        if log.one("estimate", code=code) is not None:
            raise ConflictError(f"estimate {code} exists and is never changed; issue a copy under another number.")
    made = drafted(*_history(context, takeoff, only, water), plan, fit_by=context.fits())
    payload = freeze(made)
    digest = content_hash(payload)
    kept_as = json.dumps(payload, sort_keys=True, allow_nan=False)
    with context.open(write=True) as log, log.transaction():
        save_estimate(log, kept_as, content_hash=digest, code=code, title=title)
        issue_estimate(log, code, by=context.hand)
    text = estimate_text(made, profile=profile_of(context, made), code=f"{code} ISSUED, hash {digest[:12]}")
    say(text + "\n\n" + _caution_block(made))


def kept(context: Context, code: str) -> dict[str, Any]:
    """An estimate of the log, with its payload read."""
    with context.open() as log:
        row = log.find("estimate", code)
    row["payload"] = json.loads(row["payload"])
    row["actual"] = json.loads(row["actual"]) if row["actual"] else None
    return row


def rerun(
    ctx: typer.Context,
    code: Annotated[str, typer.Argument(help="Number of the estimate.")],
    as_json: AsJson = False,
) -> None:
    """Make an issued estimate again from what it was made from, and say whether it repeats.

    Example: burnlog estimate rerun E7
    """
    from burnlog.analyses.frozen import differences, thaw, versions

    context = Context.of(ctx)
    payload = kept(context, code)["payload"]
    changed = {n: v for n, v in versions().items() if payload["versions"].get(n) != v}
    if changed:
        listed = ", ".join(f"{name} {payload['versions'].get(name)} -> {new}" for name, new in changed.items())
        tell(f"Made with other versions ({listed}): digits after the sixth may differ.")
    made = thaw(payload)
    result = json.loads(json.dumps(made.as_json()))
    if as_json:
        say_json({**result, "cautions": list(_cautions(made))})
        return
    same = json.dumps(result, sort_keys=True) == json.dumps(payload["result"], sort_keys=True)
    off = differences(payload["result"], result)
    if same:
        say(f"{code} repeats: identical bytes.")
    elif not off:
        say(f"{code} repeats to 6 digits.")
    else:
        raise ConflictError(f"{code} does not repeat; first differences: {', '.join(off[:5])}.")


def close(
    ctx: typer.Context,
    code: Annotated[str, typer.Argument(help="Number of the estimate.")],
    rods: Annotated[str | None, typer.Option(help="Rods really drawn; leave out where nobody knows.")] = None,
    dives: Annotated[str | None, typer.Option(help="Dives really made.")] = None,
    cut_time: Annotated[str | None, typer.Option(help="Cut time really spent, 31h00.")] = None,
    scope_changed: Annotated[str | None, typer.Option(help="What changed against the take-off.")] = None,
) -> None:
    """Close an issued estimate with what the job really took.

    Example: burnlog --by JM estimate close E7 --rods 498 --dives 104
    """
    from burnlog import units
    from burnlog.store.kept import close_estimate

    context = Context.of(ctx)
    by = context.signed("closing an estimate")
    actual = {
        "rods": units.read(rods, "number").value if rods else None,
        "dives": units.read(dives, "whole").value if dives else None,
        "cut_time_s": units.read(cut_time, "duration").value if cut_time else None,
        "scope_changed": scope_changed,
    }
    with context.open(write=True) as log:
        close_estimate(log, code, json.dumps(actual), by=by)
    say(f"{code} closed by {by}." + ("" if rods else " Without rods it is not scored."))
