"""The house: rooms import only rooms above them, the top level holds what it should, names have one meaning."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from pathlib import Path

import pytest

from brewlog.quantities import names, ureg

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "brewlog"
ROOMS = [
    "plain",
    "unit_spellings",
    "quantities",
    "sucrose",
    "logbook",
    "wort",
    "mash",
    "rig",
    "findings",
    "figures",
    "report",
    "cli",
    "__main__",
]
MODULES = sorted(PACKAGE.rglob("*.py"))


def room_of(module: str) -> str | None:
    parts = module.split(".")
    return parts[1] if parts[0] == "brewlog" and len(parts) > 1 else None


def imported_modules(file: Path) -> set[str]:
    """Modules that a file imports; a method `plot` may call up to the figures that draw its result."""
    found = set()
    tree = ast.parse(file.read_text(encoding="utf-8"))
    plots = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef) and node.name == "plot"]
    inside = {id(child) for plot in plots for child in ast.walk(plot)}
    for node in ast.walk(tree):
        if (
            id(node) in inside
            and isinstance(node, ast.ImportFrom)
            and (node.module or "").startswith("brewlog.figures")
        ):
            continue
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{file} imports relatively; write the room's name"
            if node.module == "brewlog":
                found |= {f"brewlog.{alias.name}" for alias in node.names}
            else:
                found.add(node.module or "")
    return found


@pytest.mark.parametrize("file", MODULES, ids=lambda file: str(file.relative_to(PACKAGE)))
def test_rooms_import_only_rooms_above(file):
    own = file.relative_to(PACKAGE).parts[0].removesuffix(".py")
    if own == "__init__":
        return
    rooms = {room for module in imported_modules(file) if (room := room_of(module)) and room != "__version__"} - {own}
    rooms &= {*ROOMS, "simulate"}
    allowed = {"quantities", "logbook", "wort"} if own == "simulate" else set(ROOMS[: ROOMS.index(own)])
    assert rooms <= allowed, f"{own} imports {sorted(rooms - allowed)}"


def test_reading_starts_without_heavy_libraries():
    code = (
        "import sys, brewlog, brewlog.cli; brewlog.read_logbook; "
        "print([m for m in ('statsmodels', 'matplotlib', 'numba', 'IPython', 'nbconvert') if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"


def test_top_level_of_the_repository():
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode:
        pytest.skip("not a git checkout")
    top = {line.split("/")[0] for line in listed.stdout.splitlines() if not line.startswith(".")}
    assert top == {"README.md", "DEVELOPERS.md", "pyproject.toml", "brewlog", "notebooks", "tests", "sample_data"}


def test_every_name_has_a_unit_that_pint_knows():
    for name in names().values():
        assert name.meaning, name.name
        if name.unit not in ("", "1"):
            ureg.Unit(name.unit)


def test_names_are_listed_once():
    rows = (PACKAGE / "names.csv").read_text(encoding="utf-8").splitlines()[1:]
    listed = [row.split(",")[0] for row in rows if row]
    assert len(listed) == len(set(listed)), sorted({name for name in listed if listed.count(name) > 1})


def test_public_names_are_loaded_when_asked_for():
    import brewlog

    for name in brewlog.__all__:
        assert getattr(brewlog, name) is not None
    with pytest.raises(AttributeError, match="no_such_name"):
        _ = brewlog.no_such_name


@pytest.mark.parametrize("file", sorted((ROOT / "notebooks").glob("*.ipynb")), ids=lambda file: file.stem)
def test_notebooks_are_stored_without_outputs_and_call_the_library_only(file):
    cells = json.loads(file.read_text(encoding="utf-8"))["cells"]
    assert cells[0]["cell_type"] == "markdown"
    assert "?" in "".join(cells[0]["source"]).splitlines()[0], "the title is a question"
    assert cells[1]["cell_type"] == "code", "the second cell gives the answer"
    for cell in cells:
        if cell["cell_type"] == "code":
            assert cell["outputs"] == []
            assert cell["execution_count"] is None
            tree = ast.parse("".join(cell["source"]))
            assert not any(isinstance(node, ast.FunctionDef | ast.ClassDef) for node in ast.walk(tree))
