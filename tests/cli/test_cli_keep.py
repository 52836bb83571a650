"""Copies that are checked, and two laptops made one."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

from terminal import run


def test_R14_backup_and_verify(own: Path, tmp_path: Path) -> None:
    """A backup is opened and checked; flipped bytes in a copy end with 5."""
    folder = tmp_path / "copies"
    folder.mkdir()
    assert run(own, "backup", str(folder)).returncode == 0
    copy = next(folder.iterdir())
    assert run(copy, "verify").returncode == 0
    raw = bytearray(copy.read_bytes())
    raw[20_000:60_000] = bytes(40_000)
    copy.write_bytes(bytes(raw))
    assert run(copy, "verify").returncode == 5


def test_R13_two_laptops_become_one(own: Path, tmp_path: Path) -> None:
    """A bundle merged into an empty log brings everything, a second time nothing; a real log refuses made-up rows."""
    bundle = tmp_path / "night.json"
    assert run(own, "export", str(bundle)).returncode == 0
    other = tmp_path / "other.db"
    assert run(other, "init", "--made-up").returncode == 0
    assert run(other, "merge", str(bundle)).returncode == 0
    again = run(other, "merge", str(bundle), "--json")
    assert sum(json.loads(again.stdout)["added"].values()) == 0
    one, two = (json.loads(run(db, "rates", "--json").stdout)["rods"] for db in (own, other))
    assert one == two
    real = tmp_path / "real.db"
    assert run(real, "init").returncode == 0
    assert run(real, "merge", str(bundle)).returncode == 2


def test_R13_a_conflicting_edit_is_shown_and_nothing_written(own: Path, tmp_path: Path) -> None:
    """One row changed on both laptops ends with 4, and the log is as it was."""
    other = Path(shutil.copy(own, tmp_path / "other.db"))
    for db, rods in ((own, "8"), (other, "9")):
        found = json.loads(run(db, "list", "tallies", "--job", "PIER12", "--json").stdout)["tallies"]
        number = next(str(row["tally"]) for row in found if row["scope"] == "cut" and row["rods"])
        assert run(db, "--by", "JM", "fix", "tally", number, f"rods={rods}", "--why", "recount").returncode == 0
    bundle = tmp_path / "b.json"
    assert run(other, "export", str(bundle)).returncode == 0
    before = run(own, "rates", "--json").stdout
    assert run(own, "merge", str(bundle)).returncode == 4
    assert run(own, "rates", "--json").stdout == before
