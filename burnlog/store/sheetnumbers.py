"""Numbers of printed sheets: they go on from what the log holds and from what was printed before."""

from __future__ import annotations

import re

from burnlog.errors import InputError
from burnlog.store.log import Log

__all__ = ["sheet_numbers", "take_sheet_numbers"]

MOST = 9999
_PRINTED = "sheets printed"


def sheet_numbers(job: str, first: int, count: int) -> tuple[str, ...]:
    """Numbers in a row.

    Raises
    ------
    InputError
        Below 1 or beyond four digits.

    Examples
    --------
    >>> sheet_numbers("PIER7", 7, 2)
    ('PIER7-0007', 'PIER7-0008')
    """
    if not 1 <= first <= first + count - 1 <= MOST:
        raise InputError(f"sheets {first} to {first + count - 1}: sheet numbers run from 1 to {MOST}.")
    return tuple(f"{job}-{number:04d}" for number in range(first, first + count))


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
    pattern = re.compile(rf"{re.escape(job)}-(\d{{1,6}})")
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
        numbers = sheet_numbers(job, first, count)
        last = first + count - 1
        log.connection.execute('INSERT INTO meta ("key", value) VALUES (?, ?)', (f"{head}{first}", str(last)))
    return numbers
