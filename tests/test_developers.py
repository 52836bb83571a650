"""The contributor guide names the tree as it is.

`python tests/test_developers.py` writes the layout anew from the first line of each module's docstring.
"""

from __future__ import annotations

import ast
import re
from pathlib import Path

import burnlog

ROOT = Path(__file__).parent.parent
PACKAGE = Path(burnlog.__file__).parent
GUIDE = ROOT / "DEVELOPERS.md"
BEGIN, END = "<!-- layout -->", "<!-- end of layout -->"
FOLDERS = ("", "library", "physics", "stats", "store", "analyses", "charts", "reports", "cli", "demo")


def _first_line(path: Path) -> str:
    text = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
    return text.partition("\n")[0].strip().rstrip(".").replace("|", "/")


def layout() -> str:
    """One table a folder: module and the first line of its docstring."""
    parts = []
    for folder in FOLDERS:
        place = PACKAGE / folder
        head = _first_line(place / "__init__.py") if folder else "The ground files, and the top that joins everything"
        rows = [
            f"| `{path.name}` | {_first_line(path)} |"
            for path in sorted(place.glob("*.py"))
            if not (folder and path.name == "__init__.py")
        ]
        title = f"**`{'/'.join(filter(None, ('burnlog', folder)))}/`** {head}."
        parts.append("\n".join([title, "", "| module | what it holds |", "|---|---|", *rows]))
    return "\n\n".join(parts)


def test_every_module_stands_in_the_layout() -> None:
    """Each module has its line under its folder, and no line is left of a module that went."""
    said = GUIDE.read_text(encoding="utf-8").split(BEGIN)[1].split(END)[0]
    listed = {
        (title, name)
        for title, body in re.findall(r"\*\*`burnlog/(?:(\w+)/)?`\*\*(.*?)(?=\n\*\*|\Z)", said, re.DOTALL)
        for name in re.findall(r"^\| `(\w+\.py)` \|", body, re.MULTILINE)
    }
    there = {
        (folder, path.name)
        for folder in FOLDERS
        for path in (PACKAGE / folder).glob("*.py")
        if not (folder and path.name == "__init__.py")
    }
    assert listed == there, "python tests/test_developers.py writes the layout anew"


def test_every_module_says_what_it_holds() -> None:
    """Each module of the package begins with a line that says what it is."""
    assert [path for path in PACKAGE.rglob("*.py") if not _first_line(path)] == []


def test_every_benchmark_is_named() -> None:
    """Each benchmark that can be run by name is in the guide."""
    runs = {path.stem for path in (ROOT / "benchmarks").glob("*.py") if "\ndef main(" in path.read_text()}
    text = GUIDE.read_text(encoding="utf-8")
    assert runs - {"__main__"} - set(re.findall(r"`(\w+)`", text)) == set()


if __name__ == "__main__":
    before, rest = GUIDE.read_text(encoding="utf-8").split(BEGIN)
    GUIDE.write_text(f"{before}{BEGIN}\n{layout()}\n{END}{rest.split(END)[1]}", encoding="utf-8")
