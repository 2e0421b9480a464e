"""The lock files: every package by hash and from nowhere in particular, all that is asked for, and no more.

What is known of weaknesses in these versions cannot be asked offline; this is no audit of that.
"""

import re
import tomllib
from importlib import metadata
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parents[2]
LOCKS = {
    "requirements.txt": ("png", "pdf", "build"),
    "requirements-tests.txt": ("png", "pdf", "build", "postgres", "test"),
}
OF_THE_VENV = {"setuptools"}
"""A new venv of Python 3.11 brings an older one of its own, and what was not made from the lock keeps it."""
PINNED = re.compile(r"[a-z0-9.-]+==[^ ;]+( ; [^\\]+)?")


def entries(name):
    """Each entry of a lock file as (requirement, hashes)."""
    text = (ROOT / "deploy" / name).read_text()
    lines = "\n".join(line for line in text.splitlines() if not line.lstrip().startswith("#"))
    whole = [entry.split() for entry in re.split(r"\n(?=\S)", lines.replace("\\\n", " ").strip())]
    return [
        (
            " ".join(part for part in entry if not part.startswith("--hash")),
            [part for part in entry if part.startswith("--hash")],
        )
        for entry in whole
    ]


@pytest.mark.parametrize("name", LOCKS)
def test_every_package_is_pinned_and_has_its_hashes(name):
    found = entries(name)
    assert len(found) > 40
    assert [line for line, _ in found if not PINNED.fullmatch(line)] == []
    wrong = [
        line
        for line, hashes in found
        if not hashes or any(not re.fullmatch(r"--hash=sha256:[0-9a-f]{64}", one) for one in hashes)
    ]
    assert wrong == []


@pytest.mark.parametrize("name", LOCKS)
def test_no_host_is_named(name):
    """Where packages come from is the affair of the machine that installs them."""
    text = (ROOT / "deploy" / name).read_text()
    assert not re.search(r"://|^\s*(-i|-f|-e|--index|--extra-index|--find-links|--trusted)", text, re.M)


@pytest.mark.parametrize(("name", "extras"), LOCKS.items())
def test_all_that_is_asked_for_is_locked_within_its_bounds(name, extras):
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    asked = [*project["dependencies"]]
    for extra in extras:
        asked += project["optional-dependencies"][extra]
    locked = {}
    for line, _ in entries(name):
        one = Requirement(line)
        locked.setdefault(canonicalize_name(one.name), []).append(str(one.specifier).removeprefix("=="))
    for line in asked:
        wanted = Requirement(line)
        versions = locked.get(canonicalize_name(wanted.name), [])
        assert versions, f"{line} is not in deploy/{name}: lock anew"
        assert all(wanted.specifier.contains(version, prereleases=True) for version in versions), line


def test_what_is_installed_is_what_is_locked():
    """Every locked package that is here has the locked version; a few may be missing, none may differ."""
    differing, same = [], 0
    for line, _ in entries("requirements-tests.txt"):
        wanted = Requirement(line)
        if wanted.name in OF_THE_VENV or (wanted.marker is not None and not wanted.marker.evaluate()):
            continue
        try:
            version = metadata.version(wanted.name)
        except metadata.PackageNotFoundError:
            continue
        if wanted.specifier.contains(version, prereleases=True):
            same += 1
        else:
            differing.append(f"{wanted.name} {version}, locked {wanted.specifier}")
    if not same:
        pytest.skip("nothing of the lock is installed here")
    assert differing == []
