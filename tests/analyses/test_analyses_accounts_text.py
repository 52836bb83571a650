"""The accounts of the record in the terminal: ASCII, 80 columns, n beside the figures."""

from __future__ import annotations

from account_record import dive, record

from burnlog.analyses.accounts import rods_balance, stub_counts
from burnlog.analyses.dive_times import rod_changes
from burnlog.analyses.oxygen_use import oxygen_use
from burnlog.reports.text_record import balance_text, oxygen_text, rod_changes_text, stubs_text


def test_the_accounts_as_text() -> None:
    """Balances, stubs, rod changes and oxygen come out in ASCII lines of 80 columns with n beside the figures."""

    frames = record(
        dive(1, {"bank_start_kpa": 14000.0, "bank_end_kpa": 9000.0, "start_at": "09:00", "stop_at": "09:20"},
             rods=18, issued=25, returned=5),
        dive(2, {"rods": 7, "stubs": (152.4, 50.8), "start_at": "11:00", "stop_at": "11:20", "burn_s": 400.0}),
    )  # fmt: skip
    texts = [
        balance_text(rods_balance(frames)),
        stubs_text(stub_counts(frames), "us"),
        rod_changes_text(rod_changes(frames)),
        oxygen_text(oxygen_use(frames), "us"),
    ]
    assert "2 rods unaccounted" in texts[0]
    assert "8.87 rod equivalents" in texts[1]
    assert "arrestors" in texts[1]
    assert "middle of 1 cut" in texts[2]
    assert "80 scf" in texts[3]
    assert "from 1 window" in texts[3]
    assert "no figure on 1 dive, bank pressure not recorded: J1 2" in texts[3]
    for text in texts:
        assert text.isascii()
        assert all(len(line) <= 80 for line in text.splitlines())
    assert balance_text(()) == "no rods counted and no box counted"
    assert stubs_text(()) == "no stubs measured"
