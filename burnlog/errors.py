"""One tree of errors, each with the exit code the command line ends with.

BurnlogError                 1  something burnlog cannot explain better
+-- InputError               2  what was typed cannot be read, or a command was used wrongly
|   +-- ReadError            2  one value: the text, what was expected, what would work
|   +-- RowErrors            2  a file: every bad cell at once
|   +-- FrameError           2  a frame handed to the library lacks a column or holds the wrong kind
+-- RefusedError             3  the history does not support the answer
|   +-- FitError             3  a fit has too little, or too tangled, data
+-- RecordError              4  the record check found problems
|   +-- ConflictError        4  two versions of one thing; nothing was written
+-- FileError                5  a file is locked, damaged, missing, newer than this program or not writable

A message says what was found, where, what was expected and what to do, in the units typed.
The facts also sit in attributes, so that a caller need not parse the sentence.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

__all__ = [
    "BurnlogError",
    "CellProblem",
    "ConflictError",
    "FileError",
    "FitError",
    "FrameError",
    "InputError",
    "ReadError",
    "RecordError",
    "RefusedError",
    "RowErrors",
]


class BurnlogError(Exception):
    """Root of every error burnlog raises on purpose."""

    exit_code = 1


class InputError(BurnlogError):
    """What was typed cannot be read, or a command was used wrongly."""

    exit_code = 2


class ReadError(InputError):
    """One value cannot be read.

    Parameters
    ----------
    message : str
        What was found, what was expected, and what would work.
    text : str
        The value as typed.
    kind : str
        The field kind it was read as, such as ``thickness``.
    """

    def __init__(self, message: str, *, text: str = "", kind: str = "") -> None:
        super().__init__(message)
        self.text = text
        self.kind = kind


@dataclass(frozen=True, order=True)
class CellProblem:
    """One thing wrong in a file: where it stands and what would settle it.

    `row` counts as the spreadsheet shows it: the header is row 1. `column` and `cell` (such as ``F7``)
    are empty where the problem is the row's or the file's.
    """

    row: int
    column: str
    message: str
    text: str = ""
    cell: str = ""

    def __str__(self) -> str:
        place = f"row {self.row}"
        if self.column:
            place += f", column {self.column}"
        if self.cell:
            place += f" (cell {self.cell})"
        return f"{place}: {self.message}"


class RowErrors(InputError):  # noqa: N818 - it carries many
    """A file with bad cells: all of them, in order, and nothing written."""

    def __init__(self, source: str, problems: Sequence[CellProblem]) -> None:
        self.source = source
        self.problems = tuple(sorted(problems))
        count = len(self.problems)
        head = f"{source}: {count} problem{'s' if count != 1 else ''}, nothing written."
        super().__init__("\n".join([head, *(f"  {problem}" for problem in self.problems)]))


class FrameError(InputError):
    """A frame handed to the library lacks a column or holds the wrong kind of value."""


class RefusedError(BurnlogError):
    """The history does not support the answer; the message says what would."""

    exit_code = 3


class FitError(RefusedError):
    """A fit has too little, or too tangled, data."""


class RecordError(BurnlogError):
    """The record check found problems."""

    exit_code = 4


class ConflictError(RecordError):
    """Two versions of one thing; nothing was written."""


class FileError(BurnlogError):
    """A file is locked, damaged, missing, newer than this program or not writable."""

    exit_code = 5
