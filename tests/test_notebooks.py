"""The notebooks run from top to bottom, and no output is kept in them."""

from __future__ import annotations

import sys
import warnings
from pathlib import Path

import pytest

NOTEBOOKS = sorted((Path(__file__).parent.parent / "notebooks").glob("*.ipynb"))


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.name)
def test_a_notebook_runs_and_says_made_up(path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Executed in a kernel of this very Python, every cell ends without an error, and the first says MADE UP."""
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
        assert "MADE UP" in book.cells[0].source
        assert all(not cell.get("outputs") and not cell.get("execution_count") for cell in book.cells)
        NotebookClient(
            book, timeout=60, kernel_name="python3", resources={"metadata": {"path": str(tmp_path)}}
        ).execute()
    printed = "".join(
        output.get("text", "") for cell in book.cells for output in cell.get("outputs", []) if "text" in output
    )
    assert "ESTIMATE" in printed


def test_the_readme_says_what_each_notebook_answers() -> None:
    """There is a notebook, and each is named in the folder's README."""
    assert NOTEBOOKS
    text = (NOTEBOOKS[0].parent / "README.md").read_text(encoding="utf-8")
    assert [path.name for path in NOTEBOOKS if f"`{path.name}`" not in text] == []
