"""The shape of the project: who may import whom, what a newcomer finds at the top, what is documented."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGES = (ROOT / "daemon" / "propstick", ROOT / "api" / "propstick_api")
MODULES = sorted(path for package in PACKAGES for path in package.rglob("*.py"))


@pytest.mark.slow
def test_imports_go_one_way_and_the_core_touches_nothing():
    """import-linter holds the ladder of pyproject.toml against every import."""
    found = subprocess.run(
        [sys.executable, "-c", "from importlinter.cli import lint_imports_command as c; c()"],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert found.returncode == 0, found.stdout + found.stderr


def test_top_level_holds_the_eight_names_and_little_else():
    """README, the guide, one build file and five folders; beside them only dotfiles, licence, changes."""
    tracked = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.splitlines()
    top = {name.split("/")[0] for name in tracked if not name.startswith(".")}
    must = {"README.md", "DEVELOPERS.md", "pyproject.toml", "daemon", "api", "tests", "deploy", "hardware"}
    assert must <= top
    assert top <= must | {"LICENSE", "CHANGELOG.md"}


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_every_module_says_what_it_is_for(path):
    """A file opens with its purpose; a public function has a docstring or a name that needs none."""
    tree = ast.parse(path.read_text())
    assert path.name == "__main__.py" or ast.get_docstring(tree), f"{path} has no docstring"


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_exceptions_are_defined_in_one_place(path):
    """errors.py is the only home of exception classes."""
    if path.name == "errors.py":
        return
    bases = [
        base.id
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.ClassDef)
        for base in node.bases
        if isinstance(base, ast.Name)
    ]
    assert not [b for b in bases if b.endswith(("Error", "Exception"))], path


def test_no_machine_path_and_no_registry_host_is_committed():
    """What only one machine has, or where packages come from, has no place in the repository."""
    bad = re.compile(
        r"(?<![\w.])/(work|root|tmp/\w+\.\d+)/|index-url|https?://[^ \"]+/(simple|dists|packages)/"
    )
    tracked = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.split("\0")
    found = [
        f"{name}:{number}"
        for name in tracked
        if name and name != "tests/test_architecture.py" and (ROOT / name).suffix not in {".png", ".gz"}
        for number, line in enumerate((ROOT / name).read_text(errors="replace").splitlines(), 1)
        if bad.search(line)
    ]
    assert not found
