"""The wheel carries the package, what it reads at run time, and nothing else."""

from __future__ import annotations

import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

import burnlog

ROOT = Path(__file__).parent.parent
PACKAGE = Path(burnlog.__file__).parent
LEFT_OUT = shutil.ignore_patterns("__pycache__", "*.pyc", ".*")


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A wheel built from a copy of the tree, with the tools of this environment and no network."""
    tree, out = tmp_path_factory.mktemp("tree"), tmp_path_factory.mktemp("wheel")
    for name in ("pyproject.toml", "README.md"):
        shutil.copy(ROOT / name, tree)
    shutil.copytree(PACKAGE, tree / "burnlog", ignore=LEFT_OUT)
    for name in ("tests", "notebooks", "benchmarks", "seed_data"):
        (tree / name).mkdir()
        (tree / name / "stray.py").write_text("", encoding="utf-8")
    build = "from setuptools.build_meta import build_wheel; import sys; build_wheel(sys.argv[1])"
    subprocess.run([sys.executable, "-W", "ignore", "-c", build, str(out)], cwd=tree, check=True, capture_output=True)
    (path,) = out.glob("*.whl")
    return path


def test_the_wheel_holds_the_package_and_nothing_else(wheel: Path) -> None:
    """Each file of the package is in it once, templates and all; the only other files are its metadata."""
    inside = sorted(zipfile.ZipFile(wheel).namelist())
    package = [name for name in inside if name.startswith("burnlog/")]
    there = {
        path.relative_to(PACKAGE.parent).as_posix()
        for path in PACKAGE.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts and not path.name.startswith(".")
    }
    assert set(package) == there
    assert len(package) == len(there)
    assert {Path(name).suffix for name in there} == {".py", ".html", ".css", ".typed"}
    assert {name.partition("/")[0] for name in inside} == {"burnlog", f"{wheel.name.rsplit('-', 3)[0]}.dist-info"}
