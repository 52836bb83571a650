"""The notebooks run from top to bottom through the public names alone, and no output is kept in them."""

from __future__ import annotations

import ast
import json
import re
import sys
import warnings
from pathlib import Path
from typing import Any

import pytest

import burnlog

NOTEBOOKS = sorted((Path(__file__).parent.parent / "notebooks").glob("*.ipynb"))
PRINTED = {
    "01_from_history_to_bid.ipynb": ("ESTIMATE", "rods drawn", "the history does not hold this work"),
    "02_fair_crew_review.ipynb": (
        "by luck alone",
        "cannot be told apart from the job",
        "jetted clean before we came",
    ),
    "03_real_world_variation.ipynb": ("8 are needed", "Crawford unit curve", "rows kept", "the other way round"),
    "04_does_the_range_hold.ipynb": ("each forecast from all other jobs", "of 40", "exact 95 % band"),
}
"""What the executed cells of each notebook must have said."""
DRAWINGS = {"01": 6, "02": 5, "03": 6, "04": 5}
BANNED = (
    "safe to",
    "approved",
    "compliant",
    "recommended setting",
    "you should set",
    "best",
    "worst",
    "rank",
    "league",
    "performer",
)


def _cells(path: Path) -> list[dict[str, Any]]:
    cells: list[dict[str, Any]] = json.loads(path.read_text(encoding="utf-8"))["cells"]
    return cells


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.name)
def test_a_notebook_runs_and_says_what_it_promises(
    path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Executed in a kernel of this very Python every cell ends without an error, and the lesson's words appear."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the notebook libraries' own deprecations are not ours to mend
        import nbformat
        from jupyter_client.kernelspec import KernelSpecManager
        from nbclient import NotebookClient

        kernels = tmp_path / "kernels" / "python3"
        kernels.mkdir(parents=True)
        (kernels / "kernel.json").write_text(
            '{"argv": ["' + sys.executable + '", "-m", "ipykernel_launcher", "-f", "{connection_file}"], '
            '"display_name": "Python 3", "language": "python"}'
        )
        monkeypatch.setenv("JUPYTER_PATH", str(tmp_path))
        monkeypatch.setenv("IPYTHONDIR", str(tmp_path / "ipython"))
        assert "python3" in KernelSpecManager().find_kernel_specs()
        book = nbformat.read(path, as_version=4)
        NotebookClient(
            book, timeout=240, kernel_name="python3", resources={"metadata": {"path": str(tmp_path)}}
        ).execute()
    outputs = [output for cell in book.cells for output in cell.get("outputs", [])]
    printed = "".join(
        output.get("text", "") + output.get("data", {}).get("text/plain", "")
        for output in outputs
        if "image/svg+xml" not in output.get("data", {})
    )
    assert [words for words in PRINTED[path.name] if words not in printed] == []
    assert sum("image/svg+xml" in output.get("data", {}) for output in outputs) >= DRAWINGS[path.name[:2]]
    assert [word for word in BANNED if re.search(rf"\b{word}\b", printed.lower())] == []


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.name)
def test_a_notebook_begins_with_its_question_and_the_cautions(path: Path) -> None:
    """The first cell says for whom, asks a question, says MADE UP and who decides; the last words are exercises."""
    first = "".join(_cells(path)[0]["source"])
    assert first.startswith("# ")
    for words in ("*For ", "?**", "**MADE UP**", "not a cutting procedure", "licensed supervisor", "not a safety"):
        assert words in first
    prose = ["".join(cell["source"]) for cell in _cells(path) if cell["cell_type"] == "markdown"]
    assert "**Exercises**" in prose[-1]
    assert "your own" in prose[-1]
    assert [word for word in BANNED if re.search(rf"\b{word}\b", " ".join(prose).lower())] == []


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.name)
def test_a_notebook_uses_public_names_alone_and_keeps_no_output(path: Path) -> None:
    """Of the package only `burnlog` and its errors are imported, each name used is public, outputs are gone."""
    code = [cell for cell in _cells(path) if cell["cell_type"] == "code"]
    assert all(not cell["outputs"] and cell["execution_count"] is None for cell in code)
    tree = ast.parse("\n".join("".join(cell["source"]) for cell in code))
    reached = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    reached |= {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert {name for name in reached if name.startswith("burnlog")} <= {"burnlog", "burnlog.errors"}
    used = {
        node.attr
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == "burnlog"
    }
    assert used
    assert used <= set(burnlog.__all__)


def test_the_instructor_has_seven_things_to_show() -> None:
    """The lesson on variation numbers its charts and tables from one to seven."""
    path = next(path for path in NOTEBOOKS if path.name.startswith("03"))
    text = "\n".join("".join(cell["source"]) for cell in _cells(path) if cell["cell_type"] == "markdown")
    assert re.findall(r"^## (\d)\. ", text, re.MULTILINE) == list("1234567")


def test_the_readme_says_what_each_notebook_answers() -> None:
    """The four notebooks are there, and each is named in the folder's README."""
    assert [path.name for path in NOTEBOOKS] == sorted(PRINTED)
    text = (NOTEBOOKS[0].parent / "README.md").read_text(encoding="utf-8")
    assert [path.name for path in NOTEBOOKS if f"`{path.name}`" not in text] == []
