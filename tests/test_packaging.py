"""What is shipped and what the rooms may know of one another."""

from __future__ import annotations

import ast
import json
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PYPROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
ROOMS = ("service", "client", "schemas")

SERVICE_ONLY = ("flask", "apispec", "psycopg", "psycopg_binary", "waitress")
"""Packages that a workstation must do without; the extra named ``service`` brings them."""

TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "service",
    "client",
    "schemas",
    "tests",
    "deploy",
}


def names(requirements: list[str]) -> set[str]:
    return {re.split(r"[\s<>=!~;\[]", one, maxsplit=1)[0].lower() for one in requirements}


def test_a_workstation_installs_no_database_driver_web_server_or_test_tool() -> None:
    base = names(PYPROJECT["project"]["dependencies"])
    assert base <= {
        "apscheduler", "click", "filelock", "highspy", "marshmallow", "numpy", "openpyxl", "peewee",
        "platformdirs", "requests", "tzdata",
    }, "a new base dependency burdens every workstation: make it an extra, or widen this list"  # fmt: skip
    extras = PYPROJECT["project"]["optional-dependencies"]
    service = names(extras["service"])
    assert {"flask", "psycopg"} <= service
    assert not service & base
    assert not names(extras["dev"]) & {"psycopg", "flask"}, "dev takes these from the service extra"


_IMPORT_ALL = """
import importlib, json, pkgutil, sys

class Refuse:
    def find_spec(self, name, path=None, target=None):
        if name.partition(".")[0] in REFUSED:
            raise ModuleNotFoundError(f"refused here: {name}", name=name)

REFUSED = set(json.loads(sys.argv[1]))
sys.meta_path.insert(0, Refuse())
done = []
for room in json.loads(sys.argv[2]):
    package = importlib.import_module(room)
    for found in pkgutil.walk_packages(package.__path__, room + "."):
        importlib.import_module(found.name)
        done.append(found.name)
print(json.dumps(done))
"""


def import_all(rooms: list[str], refused: tuple[str, ...]) -> list[str]:
    run = subprocess.run(
        [sys.executable, "-c", _IMPORT_ALL, json.dumps(refused), json.dumps(rooms)],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stderr
    done: list[str] = json.loads(run.stdout)
    return done


def test_a_workstation_runs_without_the_packages_of_the_service() -> None:
    done = import_all(["client", "schemas", "service.engine", "service.drawing"], SERVICE_ONLY)
    assert "service.engine.planner" in done
    assert "client.workstation" in done


def test_the_engine_needs_numpy_and_the_solver_and_nothing_else() -> None:
    """They solve the linear programmes of the layout search, at the station as at the centre."""
    base = names(PYPROJECT["project"]["dependencies"]) - {"highspy", "numpy"}
    others = tuple(sorted(base)) + SERVICE_ONLY
    assert "service.engine.planner" in import_all(["service.engine", "service.drawing"], others)


def test_refusing_a_package_really_refuses_it() -> None:
    with pytest.raises(AssertionError, match="refused here: marshmallow"):
        import_all(["schemas"], ("marshmallow",))


def modules(folder: str) -> list[Path]:
    found = sorted((ROOT / folder).rglob("*.py"))
    assert found
    return found


def imported(module: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{module}: relative imports hide what a room knows"
            found.add(node.module or "")
    return found


def test_the_verifier_shares_no_code_with_what_it_verifies() -> None:
    for module in modules("service/engine/verifier"):
        for name in imported(module):
            own = name.startswith("service.engine.verifier")
            assert own or name.partition(".")[0] in sys.stdlib_module_names, f"{module.name} imports {name}"


def test_nothing_but_the_service_s_own_entrances_imports_its_edge() -> None:
    entrances = {ROOT / "service" / "cli.py", ROOT / "service" / "app.py"}
    for room in ROOMS:
        for module in modules(room):
            if module in entrances or (ROOT / "service" / "api") in module.parents:
                continue
            assert not [name for name in imported(module) if name.startswith("service.api")], module


def test_the_engine_never_looks_at_a_clock_or_draws_lots() -> None:
    for module in modules("service/engine") + modules("service/drawing"):
        assert not imported(module) & {"random", "time", "secrets", "uuid"}, module
        for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Attribute):
                assert node.attr not in {"now", "today", "utcnow", "monotonic", "perf_counter"}, module


def test_every_folder_of_code_is_a_package_and_shipped() -> None:
    assert PYPROJECT["tool"]["setuptools"]["packages"]["find"]["include"] == [f"{r}*" for r in ROOMS]
    for room in ROOMS:
        for module in modules(room):
            assert (module.parent / "__init__.py").exists(), f"{module.parent} has no __init__.py"


def test_data_files_of_the_rooms_are_shipped() -> None:
    patterns = PYPROJECT["tool"]["setuptools"]["package-data"]["*"]
    for room in ROOMS:
        for path in (ROOT / room).rglob("*"):
            if path.is_file() and path.suffix not in {".py", ".pyc"}:
                assert any(path.match(pattern) for pattern in patterns), f"{path} would not be installed"


def test_both_commands_lead_to_a_function_that_is_there() -> None:
    for command, target in PYPROJECT["project"]["scripts"].items():
        module, _, function = target.partition(":")
        tree = ast.parse((ROOT / (module.replace(".", "/") + ".py")).read_text(encoding="utf-8"))
        defined = {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}
        assigned = {
            t.id for n in tree.body if isinstance(n, ast.Assign) for t in n.targets if isinstance(t, ast.Name)
        }
        assert function in defined | assigned, command


def test_the_top_level_holds_the_agreed_entries_and_dot_files() -> None:
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode:
        pytest.skip("not a checkout of git, so nothing says which files belong to the project")
    entries = {path.partition("/")[0] for path in listed.stdout.split("\0") if path}
    assert {entry for entry in entries if not entry.startswith(".")} <= TOP_LEVEL
