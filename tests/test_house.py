"""The house: imports run downwards only, nothing slow stands at the top of a module, the README keeps its promises."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

HOME = Path(__file__).resolve().parent.parent
PACKAGE = HOME / "copytime"

#: Room -> the rooms that it may enter. Ground rooms (single modules, units, links, records) are open to all.
MAY_ENTER = {
    "units": set(),
    "links": set(),
    "attached": set(),
    "engine": set(),
    "analysis": set(),
    "logbook": set(),
    "visits": {"attached", "engine", "analysis", "logbook"},
    "demo": {"analysis", "logbook", "visits"},
    "report": {"analysis", "logbook"},
    "cli": {"attached", "engine", "analysis", "logbook", "visits", "report", "demo"},
}
FILES_BELOW = ("errors", "collecting", "looking", "safetext", "suggest", "records", "notes", "wholefile")
GROUND = {*FILES_BELOW, "units", "links", "_version", ""}


def imports(path: Path) -> set[str]:
    """List the rooms of this package that a module names in its imports, wherever they stand."""
    rooms = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names = []
        if isinstance(node, ast.ImportFrom) and node.module:
            names = [node.module]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        rooms |= {name.partition(".")[2].partition(".")[0] for name in names if name.split(".")[0] == "copytime"}
    return rooms


@pytest.mark.parametrize("room", sorted(MAY_ENTER))
def test_arrows_run_downwards_only(room: str) -> None:
    for path in sorted((PACKAGE / room).rglob("*.py")):
        wrong = imports(path) - MAY_ENTER[room] - GROUND - {room}
        assert not wrong, f"{path.relative_to(HOME)} reaches into {sorted(wrong)}"


def test_ground_rooms_stand_on_nothing_above() -> None:
    for name in FILES_BELOW:
        assert imports(PACKAGE / f"{name}.py") <= GROUND, name
    for room, may in (("units", {"errors", "safetext", "units"}), ("links", {"errors", "safetext", "suggest", "links"})):
        for path in (PACKAGE / room).rglob("*.py"):
            assert imports(path) <= may, path


def test_every_room_is_known() -> None:
    rooms = {path.parent.name for path in PACKAGE.glob("*/__init__.py")}
    assert rooms == set(MAY_ENTER)


@pytest.mark.parametrize("room", ["engine", "analysis", "attached", "logbook", "visits", "report", "demo", "units", "links"])
def test_the_library_never_prints_asks_or_exits(room: str) -> None:
    for path in (PACKAGE / room).rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                assert node.func.id not in ("print", "input", "exit", "quit"), path


def test_analysis_opens_no_file() -> None:
    for path in (PACKAGE / "analysis").rglob("*.py"):
        names = {
            alias.name
            for node in ast.walk(ast.parse(path.read_text()))
            if isinstance(node, ast.Import)
            for alias in node.names
        }
        assert not names & {"os", "pathlib", "sys", "sqlite3", "subprocess", "io"}, path


def test_ci_runs_the_very_command_of_the_readme() -> None:
    lines = [line.strip() for line in (HOME / "README.md").read_text(encoding="utf-8").splitlines()]
    commands = [line for line in lines if line.startswith("python3 -m venv") and line.endswith("pytest")]
    assert len(commands) == 1
    assert "sed -n" in (HOME / ".ci/run").read_text(encoding="utf-8")


def test_the_readme_names_every_command() -> None:
    from copytime.cli.app import app

    text = (HOME / "README.md").read_text(encoding="utf-8")
    for name in app.list_commands(None):  # type: ignore[arg-type]  # reason: the list needs no context
        assert f"`copytime {name}" in text, name


def test_only_what_belongs_stands_at_the_top() -> None:
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "copytime", "tests", "fixtures"}
    top = {path.name for path in HOME.iterdir() if not path.name.startswith(".")}
    assert top - allowed <= {"build", "dist", "copytime.egg-info"}
