"""What is held about a person, and forgetting a name."""

from __future__ import annotations

from pathlib import Path

import pytest
from scribe import Scribe, clock

from burnlog.errors import FileError, InputError
from burnlog.store.bundle import export_bundle
from burnlog.store.log import Log
from burnlog.store.merge import merge, read_source
from burnlog.store.person import extract, forget

NAME = "Jocasta Marshbanks"


def _name(scribe: Scribe) -> None:
    """Give diver D3 a name by a fix, and change it twice, so that it has been in many pages."""
    for text in ("Jocasta", NAME, "J. Marshbanks", NAME):
        scribe.log.fix("person", "D3", {"name": text}, why="asked to be named", by="JM")
    for row in range(1, 60):
        scribe.cut(14, row, "L14", remark="x" * 300)


def _bytes(path: Path) -> bytes:
    return b"".join(found.read_bytes() for found in path.parent.iterdir() if found.name.startswith(path.name))


def test_R82_after_forget_the_name_is_nowhere_in_the_file(scribe: Scribe) -> None:
    """The bytes of the name are gone from the file and what lies beside it; code, cuts and trail stay."""
    _name(scribe)
    assert b"Marshbanks" in _bytes(scribe.log.path)
    before = scribe.log.rows("SELECT * FROM cut")
    done = forget(scribe.log, "D3", by="JM")
    assert (done.had_name, done.mentions) == (True, ())
    for part in (b"Jocasta", b"Marshbanks"):
        assert part not in _bytes(scribe.log.path)
    scribe.log.close()
    assert b"Marshbanks" not in _bytes(scribe.log.path)
    with Log.open(scribe.log.path, now=clock) as log:
        assert log.find("person", "D3")["display_name"] is None
        assert log.rows("SELECT * FROM cut") == before
        trail = log.trail("person", "D3")
        assert {(entry.field, entry.old, entry.new) for entry in trail} == {("display_name", "changed", "changed")}
        assert trail[-1].why == "name forgotten"


def test_R82_forgetting_twice_is_harmless(scribe: Scribe) -> None:
    """A person without a name is forgotten without a change."""
    assert not forget(scribe.log, "D3", by="JM").had_name
    assert scribe.log.trail("person", "D3") == []


@pytest.mark.parametrize("action", [extract, lambda log, code: forget(log, code, by="JM")])
def test_R82_an_unknown_code_brings_the_nearest(scribe: Scribe, action: object) -> None:
    """No such code: the nearest are named, nothing is done."""
    assert callable(action)
    with pytest.raises(InputError, match="no person 'D33'; the nearest are D3"):
        action(scribe.log, "D33")


def test_R82_forget_needs_a_hand(scribe: Scribe) -> None:
    """Nobody's name is forgotten by nobody."""
    with pytest.raises(InputError, match="--by"):
        forget(scribe.log, "D3", by=None)


def test_R82_a_name_in_free_text_is_listed_and_left(scribe: Scribe) -> None:
    """Remarks, changed remarks and reasons that hold the name, or a part of it, are listed for a person to decide."""
    _name(scribe)
    scribe.log.fix("cut", "3", {"remark": "jocasta lost the clamp"}, why="Marshbanks said so", by="JM")
    scribe.log.fix("cut", "4", {"remark": "marsh banks ahead"}, why="seen", by="JM")
    done = forget(scribe.log, "D3", by="JM")
    assert {(mention.table, mention.ref, mention.field) for mention in done.mentions} == {
        ("cut", "PIER7 14.3", "remark"),
        ("amendment", str(scribe.log.rows("SELECT no FROM amendment WHERE field = 'remark'")[0]["no"]), "new"),
        ("amendment", str(scribe.log.rows("SELECT no FROM amendment WHERE field = 'remark'")[0]["no"]), "why"),
    }
    assert scribe.log.find("cut", "3")["remark"] == "jocasta lost the clamp"


def test_R82_forget_says_when_another_program_keeps_old_bytes(
    scribe: Scribe, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While a reader holds the file old pages stay, and that is said; afterwards the same command clears them."""
    monkeypatch.setattr("burnlog.store.connection.BUSY_MS", 100)
    _name(scribe)
    scribe.log.close()
    with Log.open(scribe.log.path, now=clock) as log:
        with Log.open(log.path, now=clock, write=False) as reader:
            reader.connection.execute("BEGIN")
            reader.rows("SELECT * FROM person")
            with pytest.raises(FileError, match="repeat the command"):
                forget(log, "D3", by="JM")
            reader.connection.execute("ROLLBACK")
        assert not forget(log, "D3", by="JM").had_name
        assert b"Marshbanks" not in _bytes(log.path)


def test_R82_a_forgotten_name_does_not_come_back_by_merge(scribe: Scribe, tmp_path: Path) -> None:
    """Another laptop's bundle, made before, brings the name no more."""
    _name(scribe)
    export_bundle(scribe.log, tmp_path / "before.json", names=True)
    forget(scribe.log, "D3", by="JM")
    merge(scribe.log, read_source(tmp_path / "before.json"))
    assert scribe.log.find("person", "D3")["display_name"] is None


def test_R82_extract_lists_every_row_about_a_person(scribe: Scribe) -> None:
    """Dives in any role, cuts and counts with the torch in hand, changes of the name, and free text."""
    other = scribe.log.insert("person", {"code": "T1"})
    scribe.dive(15, diver_id=other, tender_id=scribe.diver_id)
    scribe.dive(16, diver_id=other)
    scribe.tally(14, 7.0, scribe.cut(14, 1, "L14", remark=f"{NAME} changed hands"))
    scribe.cut(15, 1, "L15")
    scribe.log.fix("person", "D3", {"name": NAME}, why="asked to be named", by="JM")
    found = extract(scribe.log, "D3")
    assert [row["dive_no"] for row in found.rows["dive"]] == [14, 15]
    assert {table: len(rows) for table, rows in found.rows.items()} == {
        "dive": 2,
        "cut": 1,
        "tally": 1,
        "happening": 0,
        "amendment": 1,
    }
    assert [(mention.ref, mention.text) for mention in found.mentions] == [("PIER7 14.1", f"{NAME} changed hands")]
    assert found.as_json()["person"]["display_name"] == NAME
