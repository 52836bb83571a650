"""Enter: a paper sheet typed field by field in the paper's own order, every finished row saved before the next."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Annotated

import typer

from burnlog.cli.context import Context, put, say
from burnlog.cli.echo import echo_cut
from burnlog.cli.prompt import KEYS, ask_all, ask_line, put_indented
from burnlog.errors import FileError, InputError, RowErrors
from burnlog.reports.cautions import MADE_UP

if TYPE_CHECKING:
    from collections.abc import Callable

    from burnlog.store.entrysheet import SheetEntry
    from burnlog.store.exchange import ImportReport
    from burnlog.store.log import Log

__all__ = ["register"]

_LABELS = {
    "sheet": "sheet no.",
    "dive_date": "date (2026-05-12)",
    "log_ref": "legal log ref",
    "depth": "depth (45 fsw, 14 msw)",
    "water_temp": "water temp",
    "bottom_time": "bottom time (0:45 = 45 minutes)",
    "work_time": "work time",
    "start_up": "start-up",
    "lot": "rod lot",
    "rods_lost": "rods lost",
    "issued": "rods issued",
    "returned": "rods returned unused",
    "broken_or_wet": "rods broken or wet",
    "would_not_light": "rods that would not light",
    "regulator_static": "regulator static",
    "regulator_flowing": "lowest oxygen (regulator flowing)",
    "line": "line or piece",
    "pass": "pass (first, re-burn, hanger)",
    "burn_time": "burn time (0:45 = 45 seconds)",
    "outcome": "through? (yes, part, no)",
    "defects": "what went wrong (words, ; between)",
}
_HEAD_RODS = "rods over the whole dive (Enter where each cut has its own)"
_MORE = "anything else (name=value, ? lists the names)"
_FEW = 50
"""Letters that the words of a field may take in its prompt, so that the answer fits on the same line."""
_LISTED = frozenset(("stoppages", "events"))
"""Columns that hold several, so that a second one stands beside the first."""
_SHOWN_UNITS = frozenset(("clock", "rods", "count", "whole", "number"))


def register(app: typer.Typer) -> None:
    """Put the command on the application."""
    app.command(rich_help_panel="Log")(enter)


def enter(
    ctx: typer.Context,
    dive: Annotated[
        str | None, typer.Option(help="Job and number, 'PIER7 14'; goes on at the next row of a dive that is there.")
    ] = None,
) -> None:
    """Type a paper sheet in its own order; every finished row is saved at once.

    Enter is not recorded, . is the same as the row above, < goes back one field, q ends.

    Example: burnlog enter --dive 'PIER7 14'
    """
    from burnlog.store.entrysheet import SheetEntry, dive_of

    context = Context.of(ctx)
    with context.open(write=True) as log:
        if log.made_up:
            say(MADE_UP)
        say(KEYS)
        text = dive if dive is not None else ask_line("dive (job and number, PIER7 14): ")
        if text is None or text.lower() == "q":
            return
        entry = SheetEntry(log, *dive_of(log, text))
        _Session(log, entry, context.profile([(entry.job_row or {}).get("units_profile")])).run()


class _Session:
    """One sheet at the prompt."""

    def __init__(self, log: Log, entry: SheetEntry, profile: str) -> None:
        self.log = log
        self.entry = entry
        self.profile = profile
        self.row: dict[str, str] = {}
        self.more: dict[str, str] = {}
        self.before: dict[str, str] | None = None

    @property
    def ref(self) -> str:
        return f"{self.entry.job} {self.entry.dive_no}"

    def run(self) -> None:
        """The head once, then rows until the person stops."""
        self._announce()
        if not self._head(self.entry.head_names()):
            new = self.entry.stored is None
            what = (
                "in the head of the sheet; nothing of it" if new else f"before row {self.entry.number}; nothing new"
            )
            say(f"stopped {what} is in the log.")
            return
        if self.entry.stored is None and not self._save_head():
            return
        saved = 0
        while self._row():
            saved += 1
        if self.row or self.more:
            say(f"row {self.entry.number} was not finished and is not in the log.")
        there = self.entry.number - 1
        if not there:
            say(f"dive {self.ref} has its head in the log, and no row yet.")
            say(f"Go on with: burnlog enter --dive '{self.ref}'")
            return
        say(f"dive {self.ref}: {saved} row{'' if saved == 1 else 's'} saved now, last row {there}.")
        say(f"Go on with: burnlog enter --dive '{self.ref}'   look it over with: burnlog check")

    def _announce(self) -> None:
        entry = self.entry
        if entry.stored is None:
            new = " and its job" if entry.job_row is None else ""
            say(f"dive {self.ref}{new} will be new: its head first, then its rows.")
            return
        say(f"dive {self.ref} is in the log, of {entry.stored['dive_date']}; going on at row {entry.number}.")
        if blanks := entry.blanks():
            say(textwrap.fill(f"not recorded of the dive (burnlog fix dive): {', '.join(blanks)}", 79))
        if rod := entry.usual_rod():
            entry.head["rod_type"] = rod

    # the head

    def _head(self, names: list[str]) -> bool:
        entry = self.entry
        return ask_all(
            names,
            entry.head,
            label=lambda name: _HEAD_RODS if name == "rods" else _label(name),
            check=self._check,
            above=lambda name: entry.above(name, head=True),
            asked=entry.asked,
        )

    def _save_head(self) -> bool:
        """The head in the log before the first row is asked for; False where the person stopped."""
        report = self._saved(self.entry.take_head, self._mend_head)
        if report is None:
            return False
        counted = ", with its count of rods" if self.entry.counted_once else ""
        say(f"the head of dive {self.ref} is saved{counted}")
        self._made(report)
        if not (self.entry.stored or {}).get("setting"):
            put_indented(
                "no setting is recorded: these cuts stay out of every rate until it is; "
                f"burnlog fix dive '{self.ref}' setting='open water'"
            )
        return True

    # a row

    def _row(self) -> bool:
        """One row, saved; False where the person stopped."""
        from burnlog.store.entrysheet import ROW

        self.row, self.more = {}, {}
        put(f"-- row {self.entry.number}\n")
        if not (self._fields(ROW) and self._anything_else()):
            return False
        while not (self.row or self.more):
            put("  nothing was typed in this row; q ends the sheet\n")
            if not (self._fields(ROW) and self._anything_else()):
                return False
        report = self._saved(lambda: self.entry.take(self.row, self.more), self._mend)
        if report is None:
            return False
        echo = echo_cut(self.log, f"{self.ref}.{self.entry.number - 1}", self.profile)
        say(textwrap.fill(f"saved: {echo}", 79))
        self._made(report)
        self.before = self.more
        self.row, self.more = {}, {}
        return True

    def _saved(self, take: Callable[[], ImportReport], mend: Callable[[InputError], bool]) -> ImportReport | None:
        """What `take` took, what does not fit asked again until it does; None where the person stopped."""
        while True:
            try:
                return take()
            except InputError as error:
                if not mend(error):
                    return None
            except FileError as error:
                put_indented(str(error))
                again = ask_line("Enter = try again, q = stop: ")
                if again is None or again.lower() == "q":
                    raise

    def _made(self, report: ImportReport) -> None:
        made = [f"{table.replace('_', ' ')} {code}" for table, codes in report.masters.items() for code in codes]
        if made:
            say(textwrap.fill(f"  new in the log, {', '.join(made)}", 79))

    def _fields(self, names: tuple[str, ...] | list[str]) -> bool:
        entry = self.entry
        return ask_all(
            names,
            self.row,
            label=_label,
            check=self._check,
            above=lambda name: entry.above(name, head=False),
            asked=lambda name: name != "rods" or entry.counted_by_cut(),
        )

    def _anything_else(self) -> bool:
        """Columns of the record that have no place of their own on the paper's rows."""
        from burnlog.store.entrysheet import MORE, ROW

        while True:
            text = ask_line(f"{_MORE}: ")
            if text is None or text.lower() == "q":
                return False
            if text == "":
                return True
            if text == "?":
                put_indented(", ".join(MORE))
            elif text == "<":
                if not self._fields([name for name in ROW if name != "rods" or self.entry.counted_by_cut()][-1:]):
                    return False
            elif text == ".":
                self._repeat(MORE)
            else:
                self._named(text, MORE)

    def _repeat(self, names: tuple[str, ...]) -> None:
        if self.before is None:
            found = {name: self.entry.above(name, head=False) for name in names}
            repeated = {name: text for name, text in found.items() if text}
        else:
            repeated = self.before
        self.more.update(repeated)
        put(f"  = {'; '.join(f'{name}={text}' for name, text in repeated.items()) or 'nothing'}\n")

    def _named(self, text: str, names: tuple[str, ...]) -> None:
        import difflib

        name, equals, value = (part.strip() for part in text.partition("="))
        name = name.lower().replace(" ", "_")
        if not equals:
            put("  write name=value, as in set_amps=180 A\n")
        elif name not in names:
            near = difflib.get_close_matches(name, names, n=3, cutoff=0.0)
            put_indented(f"there is no '{name}' here; the nearest are {', '.join(near)}")
        else:
            understood, why = self._check(name, value)
            if why:
                put_indented(why)
                return
            listed = self.more.get(name) if name in _LISTED else None
            self.more[name] = f"{listed}; {value}" if listed else value
            if understood and understood != value:
                put(f"  = {understood}\n")

    # reading back

    def _check(self, name: str, text: str) -> tuple[str, str]:
        from burnlog import units
        from burnlog.store.cells import Cell, shown
        from burnlog.store.cutsheet import cell_reader

        found = self.entry.check(name, text)
        if not isinstance(found, Cell):
            return "", found
        if name == "line" and found.value is not None:
            return self._line(str(found.value)), ""
        rule = cell_reader(name).rule
        if rule.kind == "code" and found.value is not None:
            return self.entry.unknown(name, str(found.value)), ""
        if found.value is None or rule.kind == "code" or rule.kind in ("text", "date", "flag"):
            return "; ".join(mention.word for mention in found.mentions), ""
        if rule.kind not in units.KINDS:
            return str(found.value), ""
        if rule.kind == "rods" or rule.kind in _SHOWN_UNITS:
            return "" if found.basis == "measured" else f"{found.value:g} {found.basis}", ""
        said = shown(found.value, rule, self.profile, digits=6)
        return said + ("" if found.basis == "measured" else f" {found.basis}"), ""

    def _line(self, code: str) -> str:
        from burnlog import units

        found = self.entry.line(code)
        if isinstance(found, str):
            return found
        said = [code, str(found["section"] or "section not recorded")]
        for column, kind, words in (("thickness_mm", "thickness", ""), ("planned_length_mm", "length", "planned ")):
            if found[column] is not None:
                said.append(words + units.show(found[column], kind, self.profile, digits=6))
        return ", ".join(said)

    def _mend_head(self, error: InputError) -> bool:
        """Ask the fields of the head that do not fit again; where none is named, somebody else typed this dive."""
        names = _told(error)
        if not names:
            raise error
        return self._head(names)

    def _mend(self, error: InputError) -> bool:
        """Ask the fields that do not fit again, with the reason; what else was typed is kept."""
        from burnlog.store.entrysheet import ROW

        names = _told(error)
        if not names:
            put_indented(str(error))
        if "row" in names:  # somebody else typed into this dive meanwhile
            self.entry.refresh()
            put(f"  this becomes row {self.entry.number}\n")
            return True
        head = [name for name in names if name in self.entry.head and name not in self.row and name not in self.more]
        extra = [name for name in names if name in self.more]
        for name in extra:
            del self.more[name]
        if head and not self._head(head):
            return False
        rows = [name for name in ROW if name in names and name not in head]
        if (rows or not (head or extra)) and not self._fields(rows or ROW):
            return False
        return self._anything_else() if extra else True


def _told(error: InputError) -> list[str]:
    """The columns that do not fit, each told with its reason."""
    problems = error.problems if isinstance(error, RowErrors) else ()
    for problem in problems:
        put_indented(f"{problem.column or 'row'}: {problem.message}")
    return list(dict.fromkeys(problem.column for problem in problems))


def _label(name: str) -> str:
    """What stands before the colon: the field, and its words where they are few."""
    from burnlog.store.cutsheet import cell_reader
    from burnlog.vocabulary import words

    if name in _LABELS:
        return _LABELS[name]
    listed = cell_reader(name).rule.words
    choices = ", ".join(words(listed)) if listed else ""
    return name.replace("_", " ") + (f" ({choices})" if 0 < len(choices) <= _FEW else "")
