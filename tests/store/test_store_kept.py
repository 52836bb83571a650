"""Estimates and fits that are kept and never change again."""

from __future__ import annotations

import sqlite3
from contextlib import closing

import pytest

from burnlog.errors import InputError
from burnlog.store.kept import (
    close_estimate,
    issue_estimate,
    list_estimates,
    load_estimate,
    load_fit_run,
    save_estimate,
    save_fit_run,
)
from burnlog.store.log import Log

PAYLOAD = '{"rods": {"p80": 520.0000000000001},  "note": "\u00d8 24"}'


def test_R61_an_issued_estimate_comes_back_to_the_byte(log: Log) -> None:
    """Payload and hash are what was saved, spaces included."""
    code = save_estimate(log, PAYLOAD, content_hash="abc", title="Pier 9")
    issue_estimate(log, code, by="EK")
    found = load_estimate(log, code)
    assert (found.code, found.state, found.title, found.payload, found.content_hash) == (
        "E1",
        "issued",
        "Pier 9",
        PAYLOAD,
        "abc",
    )
    assert [(entry.old, entry.new, entry.by) for entry in log.trail("estimate", code)] == [("draft", "issued", "EK")]


def test_R61_an_issued_estimate_cannot_be_edited(log: Log) -> None:
    """Not by saving again, not by raw SQL; a copy gets a code of its own."""
    code = save_estimate(log, PAYLOAD, content_hash="abc")
    issue_estimate(log, code, by="EK")
    with pytest.raises(InputError, match="issued and stays as it is"):
        save_estimate(log, "{}", content_hash="x", code=code)
    with closing(sqlite3.connect(log.path, isolation_level=None)) as raw:
        for change in ("payload = '{}'", "content_hash = 'x'", "code = 'E9'", "title = 'x'", "state = 'draft'"):
            with pytest.raises(sqlite3.IntegrityError, match="estimate"):
                raw.execute(f"UPDATE estimate SET {change}")
    assert save_estimate(log, PAYLOAD, content_hash="abc") == "E2"
    assert load_estimate(log, code).payload == PAYLOAD


def test_a_draft_is_saved_again_under_its_code(log: Log) -> None:
    """The last version stands, and the trail says that the payload changed without keeping it twice."""
    code = save_estimate(log, PAYLOAD, content_hash="abc")
    assert save_estimate(log, "{}", content_hash="def", code=code) == code
    assert load_estimate(log, code).payload == "{}"
    found = {entry.field: (entry.old, entry.new) for entry in log.trail("estimate", code)}
    assert found == {"payload": ("changed", "changed"), "content_hash": ("abc", "def")}


def test_an_estimate_is_closed_once(log: Log) -> None:
    """Only an issued one is closed; what it really took stays."""
    code = save_estimate(log, PAYLOAD, content_hash="abc")
    with pytest.raises(InputError, match="only an issued one"):
        close_estimate(log, code, '{"rods": 480}', by="EK")
    issue_estimate(log, code, by="EK")
    with pytest.raises(InputError, match="issued already"):
        issue_estimate(log, code, by="EK")
    close_estimate(log, code, '{"rods": 480}', by="EK")
    assert load_estimate(log, code).actual == '{"rods": 480}'
    with pytest.raises(InputError, match="closed"):
        close_estimate(log, code, '{"rods": 1}', by="EK")
    with (
        closing(sqlite3.connect(log.path, isolation_level=None)) as raw,
        pytest.raises(sqlite3.IntegrityError, match="stays there"),
    ):
        raw.execute("UPDATE estimate SET actual = '{}'")
    assert [found.state for found in list_estimates(log)] == ["closed"]


def test_an_unknown_estimate_brings_the_nearest(log: Log) -> None:
    """E17 is not there; E1 is named."""
    save_estimate(log, PAYLOAD, content_hash="abc")
    with pytest.raises(InputError, match="no estimate 'E17'; the nearest are E1"):
        load_estimate(log, "E17")


def test_a_fit_comes_back_to_the_byte_and_is_never_changed(log: Log) -> None:
    """A kept fit repeats, and neither raw SQL nor a void touches it."""
    number = save_fit_run(log, "rods", PAYLOAD, data_hash="abc")
    found = load_fit_run(log, number)
    assert (found.no, found.kind, found.payload, found.data_hash) == (1, "rods", PAYLOAD, "abc")
    with closing(sqlite3.connect(log.path, isolation_level=None)) as raw:
        for change in ("payload = '{}'", "voided_at = '2026-05-12'"):
            with pytest.raises(sqlite3.IntegrityError, match="never changed"):
                raw.execute(f"UPDATE fit_run SET {change}")
    with pytest.raises(InputError, match="no fit run '9'"):
        load_fit_run(log, 9)


@pytest.mark.parametrize("payload", ["{broken", "NaN", '{"a": NaN}'])
def test_a_payload_that_is_not_json_is_refused(log: Log, payload: str) -> None:
    """NaN and half texts never reach the file."""
    with pytest.raises(InputError, match="payload holds JSON"):
        save_estimate(log, payload, content_hash="abc")
