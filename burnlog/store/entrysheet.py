"""A paper sheet on its way in at the prompt: what is asked, in the paper's order, and each row taken by itself.

A row goes through the same door as a row of a file, so that the same rules hold whichever way a sheet comes in.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cached_property

from burnlog.errors import InputError
from burnlog.store.batch import Known
from burnlog.store.cells import BLANK, Cell
from burnlog.store.cutsheet import COLUMNS, cell_reader
from burnlog.store.exchange import ImportReport
from burnlog.store.log import Log, Row
from burnlog.store.lookup import find, nearest
from burnlog.store.typedrows import import_head, import_rows

__all__ = ["DIVE", "FIRST", "HEAD", "MORE", "ROW", "STANDING", "SheetEntry", "dive_of"]


def _names(text: str) -> tuple[str, ...]:
    return tuple(text.split())


HEAD = _names(
    "sheet record_class water dive_date log_ref diver tender supervisor crew bottom_time work_time start_up setting "
    "depth visibility current surge water_temp rod_type family rod_length lot rig material fouling backing power "
    "set_amps bank bank_start regulator_static rods issued returned rods_lost broken_or_wet would_not_light "
    "calls_made calls_right faults"
)
"""The head of the paper, line by line: what is asked once."""

STANDING = _names("rod_type family rod_length lot material fouling backing power set_amps")
"""What the head says for all rows; a row can say otherwise."""

COUNTED_ONCE = _names("rods issued returned rods_lost broken_or_wet would_not_light")
"""What is counted once a dive; `rods` here is a count over all of it."""

READ_ONCE = _names("bank_start regulator_static")
"""What is read once, and stands on the first row."""

FIRST = (*COUNTED_ONCE, *READ_ONCE)

_MASTERS: Mapping[str, str] = {
    **dict.fromkeys(_names("diver tender supervisor"), "person"),
    **{name: name for name in _names("rod_type rig bank")},
}
"""Where the code of a field stands, once it is known."""

DIVE = tuple(name for name in HEAD if name not in STANDING and name not in FIRST)
"""What belongs to the dive: asked when the dive is new."""

ROW = _names(
    "line section thickness position planned_length new_length pass start stop burn_time rods restarts hangers "
    "outcome regulator_flowing defects remark"
)
"""The columns of the paper's rows, from left to right."""

_KEPT_OUT = frozenset(("job", "dive", "row", "rods_scope", "made_up", "why", *DIVE, *ROW))
MORE = tuple(column.name for column in COLUMNS if column.name not in _KEPT_OUT)
"""Columns without a place of their own in a row of the paper: given by name, where a row has them."""


def dive_of(log: Log, text: str) -> tuple[str, int]:
    """Job and number of the dive a person means; neither need be in the log.

    Raises
    ------
    InputError
        Not a dive, or a number alone that could belong to several jobs.
    """
    code, _, number = " ".join(text.split()).rpartition(" ")
    if not (number.isascii() and number.isdigit() and len(number) < 6):
        raise InputError(f"'{text}' is not a dive; write job and number, as in 'PIER7 14'.")
    if not code:
        jobs = sorted(Known(log).masters("job"))
        if len(jobs) == 1:
            return jobs[0], int(number)
        there = find(log, "dive", number)
        return str((log.one("job", id=there["job_id"]) or {})["code"]), int(number)
    found = cell_reader("job").read(code)
    if isinstance(found, str):
        raise InputError(found)
    return str(found.value), int(number)


class SheetEntry:
    """One dive being typed.

    Attributes
    ----------
    job, dive_no : str, int
    stored : Row or None
        The dive, where it is in the log.
    number : int
        Row that comes next.
    head : dict
        Column -> text typed for the whole sheet.
    """

    def __init__(self, log: Log, job: str, dive_no: int) -> None:
        self.log = log
        self.job = job
        self.dive_no = dive_no
        self.head: dict[str, str] = {}
        self._readers = {column.name: cell_reader(column.name) for column in COLUMNS}
        self._last: Mapping[str, str] | None = None
        self.refresh()

    def refresh(self) -> None:
        """Look again at what the log holds of this dive."""
        self._known = Known(self.log)
        self.job_row: Row | None = self._known.masters("job").get(self.job)
        self.stored: Row | None = self._known.dives(self.job).get(self.dive_no)
        dive_id = self.stored["id"] if self.stored else ""
        last = self.log.rows("SELECT coalesce(max(row), 0) AS last FROM cut WHERE dive_id = ?", (dive_id,))
        self.number = int(last[0]["last"]) + 1
        counted = self.log.rows(
            "SELECT DISTINCT scope FROM tally WHERE dive_id = ? AND scope IN ('dive', 'box') AND voided_at IS NULL",
            (dive_id,),
        )
        self.counted_whole = {"scope": "dive"} in counted
        self.counted_once = bool(counted)

    # what to ask

    def head_names(self) -> list[str]:
        """What is asked once: the dive where it is new, what stands for all rows, and the counts of the box."""
        kept = {
            *(DIVE if self.stored is None else ()),
            *(FIRST if self.number == 1 and not self.counted_once else READ_ONCE if self.number == 1 else ()),
            *STANDING,
        }
        return [name for name in HEAD if name in kept]

    def asked(self, name: str) -> bool:
        """Whether a field is worth asking, with what has been typed so far."""
        if name in ("family", "rod_length"):
            typed = self.cell("rod_type", self.head.get("rod_type", "")).value
            return typed is not None and typed not in self._known.masters("rod_type")
        return True

    def counted_by_cut(self) -> bool:
        """Whether the rows have rod counts of their own."""
        return not self.counted_whole and self.cell("rods", self.head.get("rods", "")).blank

    def blanks(self) -> list[str]:
        """What the dive in the log does not say."""
        stored = self.stored or {}
        rules = {column.name: column.rule.column for column in COLUMNS}
        return [name for name in DIVE if stored.get(rules[name]) is None]

    def usual_rod(self) -> str:
        """The rod type of the dive's last cut; before the first, of its count."""
        found = self.log.rows(
            "SELECT t.code, c.row FROM cut c JOIN rod_type t ON t.id = c.rod_type_id WHERE c.dive_id = :dive "
            "AND c.voided_at IS NULL UNION ALL "
            "SELECT t.code, 0 FROM tally n JOIN rod_type t ON t.id = n.rod_type_id WHERE n.dive_id = :dive "
            "AND n.voided_at IS NULL ORDER BY 2 DESC LIMIT 1",
            {"dive": self.stored["id"] if self.stored else ""},
        )
        return str(found[0]["code"]) if found else ""

    def line(self, code: str) -> Row | str:
        """The line of this name, or a sentence about names like it."""
        lines = self._known.lines(self.job)
        return lines.get(code) or f"{code} is new; {nearest(code, list(lines))}"

    def unknown(self, name: str, code: str) -> str:
        """A sentence about a code that nobody or nothing has yet; empty where it is known, or needs no entry."""
        table = _MASTERS.get(name)
        if table is None or code in self._known.masters(table):
            return ""
        return f"{code} is new; {nearest(code, list(self._known.masters(table)))}"

    def above(self, name: str, *, head: bool) -> str | None:
        """The text of a field in the row above; in the head, of the dive before. None where there is none."""
        row = self._dive_before if head else self._last if self._last is not None else self._row_before
        return None if row is None else row.get(name, "")

    @cached_property
    def _dive_before(self) -> Mapping[str, str] | None:
        rows = [row for row in self._exported() if int(row["dive"]) < self.dive_no]
        return next((row for row in rows if row["dive"] == rows[-1]["dive"]), None)

    @cached_property
    def _row_before(self) -> Mapping[str, str] | None:
        rows = [row for row in self._exported() if int(row["dive"]) == self.dive_no]
        return rows[-1] if rows else None

    def _exported(self) -> Iterable[dict[str, str]]:
        from burnlog.store.sheetexport import SheetExport

        return list(SheetExport(self.log).rows(self.job))

    # reading

    def cell(self, name: str, text: str) -> Cell:
        """A field as understood; blank where it cannot be."""
        found = self.check(name, text)
        return BLANK if isinstance(found, str) else found

    def check(self, name: str, text: str) -> Cell | str:
        """A field as understood, or the reason why not."""
        text = text.strip()
        if text == "":
            return self._needed(name) or BLANK
        water = None
        if name == "depth":
            water = self.cell("water", self.head.get("water", "")).value or (self.job_row or {}).get("water")
        found = self._readers[name].read(text, water)
        if isinstance(found, Cell) and found.blank and (why := self._needed(name)):
            return why
        return found

    def _needed(self, name: str) -> str:
        if self.stored is not None:
            return ""
        if name == "dive_date":
            return "a dive needs its date: 2026-05-12"
        if name == "diver":
            return "a dive needs its diver: a code such as D3"
        if name == "setting":
            said = self.cell("record_class", self.head.get("record_class", "")).value
            if (said or (self.job_row or {}).get("record_class")) == "training":
                return "a training dive needs its setting: open water, test tank or dry practice"
        return ""

    # writing

    def take_head(self) -> ImportReport:
        """Put a new dive into the log before it has a row: its head, and what was counted over the whole of it.

        Readings of the head belong to its first row and go in with that.

        Raises
        ------
        RowErrors
            What does not fit, by column; nothing was written.
        FileError
            The file is locked, full or damaged; nothing was written.
        """
        kept = (*DIVE, "rod_type", "family", "rod_length", *COUNTED_ONCE)
        head = {name: text for name, text in self.head.items() if name in kept}
        if not self.counted_by_cut():
            head["rods_scope"] = "dive"
            head.update({"lot": self.head["lot"]} if "lot" in self.head else {})
        report = import_head(self.log, {"job": self.job, "dive": str(self.dive_no), **head})
        self.refresh()
        return report

    def take(self, row: Mapping[str, str], more: Mapping[str, str]) -> ImportReport:
        """Put one row into the log, with the head of the dive where that is not there yet.

        Raises
        ------
        RowErrors
            What does not fit, by column; nothing was written.
        FileError
            The file is locked, full or damaged; nothing was written.
        """
        if self.stored is not None:
            diver = self.log.one("person", id=self.stored["diver_id"]) or {}
            head = {"dive_date": str(self.stored["dive_date"]), "diver": str(diver["code"])}
        else:
            head = {name: text for name, text in self.head.items() if name in DIVE}
        standing = {name: text for name, text in self.head.items() if name in STANDING}
        if not self.counted_by_cut():
            standing.pop("lot", None)
        first: dict[str, str] = {}
        if self.number == 1:
            once = READ_ONCE if self.counted_once else FIRST
            first = {name: text for name, text in self.head.items() if name in once}
            if "rods" in first:
                first["rods_scope"] = "dive"
                first.update({"lot": self.head["lot"]} if "lot" in self.head else {})
        place = {"job": self.job, "dive": str(self.dive_no), "row": str(self.number)}
        report = import_rows(self.log, [{**place, **head, **standing, **first, **row, **more}])
        self._last = {**row, **more}
        self.refresh()
        return report
