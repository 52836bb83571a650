"""The arrows between folders, read from the imports."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import burnlog

PACKAGE = Path(burnlog.__file__).parent
GROUND = {"errors", "columns", "sources", "vocabulary", "wordlists"}
GROUND |= {"units", "measures", "notation", "quantities", "times", "wording"}
ALLOWED = {
    "ground": {"ground"},
    "physics": {"physics", "ground"},
    "stats": {"stats", "ground"},
    "store": {"store", "ground"},
    "analyses": {"analyses", "stats", "physics", "ground"},
    "charts": {"charts", "analyses", "ground"},
    "reports": {"reports", "charts", "analyses", "physics", "ground"},
    "demo": {"demo", "analyses", "ground"},
    "cli": {"cli", "reports", "charts", "analyses", "store", "physics", "stats", "ground", "demo", "top"},
}
HEAVY = {"pandas", "scipy", "statsmodels", "altair", "sqlite_utils", "openpyxl", "numpy", "vl_convert", "jinja2"}


def _place(module: str) -> str:
    """The floor a module of the package stands on."""
    parts = module.split(".")
    if len(parts) == 1 or parts[1] in {"__init__", "__main__", "library"}:
        return "top"
    return "ground" if parts[1] in GROUND else parts[1]


def _imports(path: Path) -> list[tuple[str, bool]]:
    """Every module a file imports, with whether that happens when the file itself is imported."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    found: list[tuple[str, bool]] = []

    def visit(node: ast.AST, early: bool) -> None:
        for child in ast.iter_child_nodes(node):
            now = early and not isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef)
            if isinstance(child, ast.If) and "TYPE_CHECKING" in ast.unparse(child.test):
                for name in ast.walk(child):
                    if isinstance(name, ast.ImportFrom) and name.module:
                        found.append((name.module, False))
                continue
            if isinstance(child, ast.Import):
                found.extend((alias.name, now) for alias in child.names)
            elif isinstance(child, ast.ImportFrom) and child.module:
                found.append((child.module, now))
                if child.module.startswith("burnlog"):
                    found.extend((f"{child.module}.{alias.name}", now) for alias in child.names)
            visit(child, now)

    visit(tree, True)
    return found


def _modules() -> list[tuple[str, Path]]:
    return [
        (".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts), path)
        for path in sorted(PACKAGE.rglob("*.py"))
    ]


@pytest.mark.parametrize(("module", "path"), _modules(), ids=[name for name, _ in _modules()])
def test_imports_point_down_only(module: str, path: Path) -> None:
    """A module imports from its own floor and from the floors below, and nothing else of the package."""
    floor = _place(module)
    if floor == "top":
        return  # the public face and `python -m burnlog` may name anything
    reached = {
        _place(name) for name, _ in _imports(path) if name.startswith("burnlog.") and not name.startswith("burnlog._")
    }
    wrong = reached - ALLOWED[floor]
    assert not wrong, f"{module} ({floor}) imports from {sorted(wrong)}"


def test_the_arrow_test_sees_a_wrong_arrow(tmp_path: Path) -> None:
    """A file that imports upward is caught, wherever in the file it does so."""
    bad = tmp_path / "bad.py"
    bad.write_text("def f():\n    from burnlog.analyses import rates\n    return rates\n")
    assert "analyses" in {_place(name) for name, _ in _imports(bad) if name.startswith("burnlog.")}


@pytest.mark.parametrize("module", ["cli.app", "units", "vocabulary", "columns", "store.log", "physics.sections"])
def test_R16_light_commands_load_no_heavy_library(module: str) -> None:
    """What `add`, `enter`, `units`, `length` and `--help` import leaves the heavy libraries alone."""
    code = f"import sys, burnlog.{module}; print([m for m in {sorted(HEAVY)!r} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == "[]"


def test_nothing_below_the_command_line_reads_a_clock_or_prints() -> None:
    """Below `cli` there is no print, no clock and no unseeded random number."""
    wrong = []
    for module, path in _modules():
        if _place(module) in {"cli", "top"}:
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call):
                continue
            name = ast.unparse(node.func)
            unseeded = name.endswith("default_rng") and not (node.args or node.keywords)
            clock = name in {"datetime.now", "datetime.utcnow", "date.today", "time.time", "time.monotonic"}
            if name == "print" or clock or unseeded:
                wrong.append(f"{module}:{node.lineno} {name}")
    assert not wrong
