"""Citations: every key leads to a document, and nothing remembered badly becomes data."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

import burnlog
from burnlog.physics.sections import BUILT_IN
from burnlog.sources import SOURCES, STATUSES, source
from burnlog.vocabulary import LISTS, PRACTICE

PACKAGE = Path(burnlog.__file__).parent
REFERENCES = re.compile(r"References\n\s*-{5,}\n(.*?)(?:\n\s*\n\s*\w+\n\s*-{5,}|\Z)", flags=re.DOTALL)
KEY = re.compile(r"`([a-z0-9][a-z0-9.-]*)`")


def _docstrings() -> list[tuple[str, str]]:
    found = []
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            text = ast.get_docstring(node) if isinstance(node, ast.Module | ast.FunctionDef | ast.ClassDef) else None
            if text:
                found.append((str(path.relative_to(PACKAGE)), text))
    return found


def test_keys_are_their_own_names() -> None:
    """A key stands for one document with a known status."""
    for key, entry in SOURCES.items():
        assert source(key) is entry
        assert entry.key == key
        assert entry.document
        assert entry.status in STATUSES
    with pytest.raises(KeyError):
        source("no-such-document")


def test_every_key_cited_in_a_docstring_exists() -> None:
    """A backticked key under *References* leads somewhere; there are some, so the search works."""
    cited = [
        (place, key)
        for place, text in _docstrings()
        for block in REFERENCES.findall(text)
        for key in KEY.findall(block)
        if not key.startswith("burnlog.")
    ]
    assert len(cited) >= 5
    assert [(place, key) for place, key in cited if key not in SOURCES] == []


def test_every_source_is_used() -> None:
    """A document nobody cites has no business in the list: a docstring, a word or an outside check names each."""
    places = [path for path in PACKAGE.rglob("*.py") if path.name != "sources.py"]
    places += list((Path(__file__).parent / "reference" / "checks").glob("*.csv"))
    text = "".join(path.read_text(encoding="utf-8") for path in places)
    assert [key for key in SOURCES if key not in text] == []


def test_R39_no_built_in_number_is_a_weak_memory() -> None:
    """Built-in sections and words are read, second-hand, from memory or common practice, and each says which."""
    for section in BUILT_IN:
        assert re.search("read|second-hand|from memory", section.source)
    for name, words in LISTS.items():
        for word in words.words:
            assert word.source == PRACTICE or source(word.source).document, (name, word.word)
