"""Numbers of printed sheets: they go on from what the log holds and from what was printed before.

Two laptops that have not met print at the same time. So a number carries three letters of the log it was printed
from: `PIER7-K3M-0007`. A log that was copied to another laptop keeps its letters; make a log of its own there
(`burnlog init`) and merge.
"""

from __future__ import annotations

import hashlib
import re

from burnlog.errors import InputError
from burnlog.store.log import Log

__all__ = ["log_mark", "sheet_numbers", "take_sheet_numbers"]

MOST = 9999
_PRINTED = "sheets printed"


_PLAIN = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"
"""Digits and capitals that a pencil keeps apart: no 0 or O, no 1 or I."""


def log_mark(db_id: str) -> str:
    """Three letters that tell the sheets of one log from those of another; two logs in 32,768 share them.

    Examples
    --------
    >>> log_mark("6f0c1d62-6c1e-4f0e-9a57-0d6a2c9b7f31")
    'QBF'
    """
    number = int.from_bytes(hashlib.sha256(db_id.encode()).digest()[:2], "big")
    return "".join(_PLAIN[number >> shift & 31] for shift in (10, 5, 0))


def sheet_numbers(job: str, first: int, count: int, *, mark: str = "") -> tuple[str, ...]:
    """Numbers in a row, with the mark of a log where there is one.

    Raises
    ------
    InputError
        Below 1 or beyond four digits.

    Examples
    --------
    >>> sheet_numbers("PIER7", 7, 2)
    ('PIER7-0007', 'PIER7-0008')
    >>> sheet_numbers("PIER7", 7, 1, mark="K3M")
    ('PIER7-K3M-0007',)
    """
    if not 1 <= first <= first + count - 1 <= MOST:
        raise InputError(f"sheets {first} to {first + count - 1}: sheet numbers run from 1 to {MOST}.")
    head = f"{job}-{mark}-" if mark else f"{job}-"
    return tuple(f"{head}{number:04d}" for number in range(first, first + count))


def take_sheet_numbers(log: Log, job: str, count: int) -> tuple[str, ...]:
    """The next numbers of a job, kept in the log so that no second sheet bears one of them. In one transaction.

    A number counts as used when a dive bears it, voided or not, or when it was printed before.

    Raises
    ------
    InputError
        The numbers run out.
    FileError
        The log cannot be written.
    """
    pattern = re.compile(rf"{re.escape(job)}-(?:[{_PLAIN}]{{3}}-)?(\d{{1,6}})")
    with log.transaction():
        used = [
            int(match[1])
            for row in log.rows("SELECT sheet FROM dive WHERE sheet IS NOT NULL")
            if (match := pattern.fullmatch(str(row["sheet"])))
        ]
        head = f"{_PRINTED} {job} from "
        for row in log.rows('SELECT "key", value FROM meta'):
            if str(row["key"]).startswith(head) and str(row["value"]).isdigit():
                used.append(int(row["value"]))
        first = max(used, default=0) + 1
        numbers = sheet_numbers(job, first, count, mark=log_mark(log.db_id))
        last = first + count - 1
        log.connection.execute('INSERT INTO meta ("key", value) VALUES (?, ?)', (f"{head}{first}", str(last)))
    return numbers
