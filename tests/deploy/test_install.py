"""The scripts themselves, run for real into a folder: twice, upgraded, rolled back, removed.

Packages come from a lock cut down to what building needs, so that a run takes seconds; the whole lock
is set up once, in the slow test.
"""

import os
import re
import shutil
import sqlite3
import stat
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
DEPLOY = ROOT / "deploy"
SCRIPTS = ("install", "upgrade", "rollback", "remove", "try", "propstick", "common.sh")
COMPLETIONS = (
    "usr/share/bash-completion/completions/propstick",
    "usr/share/zsh/vendor-completions/_propstick",
    "usr/share/fish/vendor_completions.d/propstick.fish",
)
BUILDING = {"hatchling", "packaging", "pathspec", "pluggy", "trove-classifiers", "shtab", "tomlkit"}


@pytest.mark.parametrize("script", SCRIPTS)
def test_a_script_is_sound_shell(script):
    """bash's own parser, and shellcheck where there is one (Debian: shellcheck)."""
    subprocess.run(["bash", "-n", str(DEPLOY / script)], check=True)
    if shutil.which("shellcheck"):
        subprocess.run(["shellcheck", "-x", "-P", str(ROOT), str(DEPLOY / script)], check=True)


@pytest.mark.parametrize("script", ["install", "upgrade", "rollback", "remove"])
def test_a_script_explains_itself_and_refuses_what_it_does_not_know(script, tmp_path):
    helped = run(script, "--help", root=tmp_path)
    assert f"deploy/{script}" in helped.stdout
    refused = run(script, "--nonsense", root=tmp_path, status=1)
    assert "got '--nonsense', expected" in refused.stderr
    assert list(tmp_path.iterdir()) == []


def test_removing_data_asks_to_be_sure(tmp_path):
    (tmp_path / "var/lib/propstick").mkdir(parents=True)
    refused = run("remove", "--data", root=tmp_path, status=1)
    assert "--data --yes" in refused.stderr
    assert (tmp_path / "var/lib/propstick").is_dir()


def test_upgrade_and_rollback_say_what_is_missing(tmp_path):
    assert "deploy/install" in run("upgrade", root=tmp_path, status=1).stderr
    assert "no earlier release" in run("rollback", root=tmp_path, status=1).stderr


@pytest.mark.slow
def test_a_life_keeps_the_grower_s_data(tmp_path):
    """Install, install again, upgrade, roll back, forward, remove, remove with data."""
    first, second = checkout(tmp_path / "first"), checkout(tmp_path / "second")
    changed = second / "daemon/propstick/errors.py"
    changed.write_text(changed.read_text() + "\n# a later release\n")
    root = tmp_path / "root"
    opt, etc, var = root / "opt/propstick", root / "etc/propstick", root / "var/lib/propstick"

    assert "propstick setup" in run("install", root=root, source=first).stdout
    mine, store = etc / "garden.toml", var / "mine.sqlite"
    mine.write_text("# mine\n")
    with sqlite3.connect(store) as connection:
        connection.execute("CREATE TABLE kept (word)")
        connection.execute("INSERT INTO kept VALUES ('yes')")
    connection.close()
    before = picture(root)

    assert "already there" in run("install", root=root, source=first).stdout
    assert picture(root) == before

    old = os.readlink(opt / "current")
    run("upgrade", root=root, source=second)
    new = os.readlink(opt / "current")
    assert new != old
    assert os.readlink(opt / "previous") == old
    assert "a later release" in code_of(opt / "current")
    assert "runs already" in run("upgrade", root=root, source=second).stdout

    run("rollback", root=root, source=second)
    assert os.readlink(opt / "current") == old
    assert "a later release" not in code_of(opt / "current")
    run("rollback", root=root, source=second)
    assert os.readlink(opt / "current") == new

    run("remove", root=root, source=second)
    assert not opt.exists()
    assert [str(p.relative_to(root)) for p in sorted(root.rglob("*")) if p.is_file()] == [
        "etc/propstick/garden.toml",
        "var/lib/propstick/mine.sqlite",
    ]
    assert mine.read_text() == "# mine\n"
    with sqlite3.connect(store) as connection:
        assert connection.execute("SELECT word FROM kept").fetchall() == [("yes",)]
    connection.close()

    run("remove", "--data", "--yes", root=root, source=second)
    assert not [p for p in root.rglob("*") if p.is_file()]


@pytest.mark.slow
def test_an_upgrade_that_does_not_start_leaves_all_links_as_they_were(tmp_path):
    """So that `rollback` still leads to the release before, not from this one to itself."""
    root, opt = tmp_path / "root", tmp_path / "root/opt/propstick"
    sources = [checkout(tmp_path / name) for name in ("first", "second", "third")]
    for source in sources[1:]:
        changed = source / "daemon/propstick/errors.py"
        changed.write_text(changed.read_text() + f"\n# {source.name}\n")
    # Services cannot be started here; the third release's do not start.
    with (sources[2] / "deploy/common.sh").open("a") as common:
        common.write("\nrestart_services() { false; }\n")
    run("install", root=root, source=sources[0])
    first = os.readlink(opt / "current")

    def fails():
        assert "does not start; going back" in run("upgrade", root=root, source=sources[2], status=1).stdout

    fails()
    assert os.readlink(opt / "current") == first
    assert not (opt / "previous").is_symlink()
    run("upgrade", root=root, source=sources[1])
    links = [os.readlink(opt / name) for name in ("current", "previous")]
    assert links[1] == first
    fails()
    assert [os.readlink(opt / name) for name in ("current", "previous")] == links


@pytest.mark.slow
def test_a_release_cut_short_is_built_anew_and_nobody_else_may_write_it(tmp_path):
    source, root = checkout(tmp_path / "source"), tmp_path / "root"
    run("install", root=root, source=source)
    release = (root / "opt/propstick/current").resolve()
    open_to_others = [
        p
        for p in release.rglob("*")
        if not p.is_symlink() and p.stat().st_mode & (stat.S_IWGRP | stat.S_IWOTH)
    ]
    assert not open_to_others
    for folder in ("etc/propstick", "var/lib/propstick"):
        assert stat.S_IMODE((root / folder).stat().st_mode) == 0o750
    (release / ".complete").unlink()
    (release / "half").touch()
    run("install", root=root, source=source)
    assert not (release / "half").exists()
    assert (release / ".complete").exists()


@pytest.mark.slow
def test_an_upgrade_copies_the_store_first_or_changes_nothing(tmp_path):
    """With the whole lock: the release that runs makes the backup, and the program works."""
    source, root = checkout(tmp_path / "source", whole=True), tmp_path / "root"
    run("install", root=root, source=source)
    program = root / "opt/propstick/current/bin/propstick"
    for completion in COMPLETIONS:
        assert "propstick" in (root / completion).read_text()
    etc, var = root / "etc/propstick", root / "var/lib/propstick"
    (etc / "garden.toml").write_text(
        f'[[box]]\nname = "north"\n[store]\nurl = "sqlite:///{var}/propstick.db"\n'
    )
    (tmp_path / "night.csv").write_text("time,north.air\n2026-03-01T20:00Z,4.5\n2026-03-01T20:01Z,4.25\n")
    garden = ["--garden", str(etc / "garden.toml")]
    subprocess.run([program, "import", tmp_path / "night.csv", *garden], check=True, capture_output=True)
    current = os.readlink(root / "opt/propstick/current")
    changed = source / "daemon/propstick/errors.py"
    changed.write_text(changed.read_text() + "\n# a later release\n")

    good = (etc / "garden.toml").read_text()
    (etc / "garden.toml").write_text("nonsense")
    assert "nothing was changed" in run("upgrade", root=root, source=source, status=1).stderr
    assert os.readlink(root / "opt/propstick/current") == current

    (etc / "garden.toml").write_text(good)
    run("upgrade", root=root, source=source)
    assert os.readlink(root / "opt/propstick/current") != current
    (copied,) = (var / "backups").glob("before-*.db")
    with sqlite3.connect(copied) as connection:
        assert connection.execute("SELECT count(*) FROM readings").fetchone() == (2,)
    connection.close()


def run(script, *words, root, source=ROOT, status=0):
    found = subprocess.run(
        ["bash", str(source / "deploy" / script), *words],
        env={**os.environ, "DESTDIR": str(root)}, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert found.returncode == status, found.stdout + found.stderr
    return found


def checkout(folder, *, whole=False):
    """The sources as a person has them, with a lock of what building needs, or the whole one."""
    ignore = shutil.ignore_patterns("__pycache__", "*.egg-info")
    for name in ("daemon", "api", "deploy"):
        shutil.copytree(ROOT / name, folder / name, ignore=ignore)
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, folder / name)
    if not whole:
        lock = folder / "deploy/requirements.txt"
        entries = re.split(r"(?m)^(?=\S)", lock.read_text())
        kept = [
            entry for entry in entries if re.match(r"[\w.-]+", entry) and entry.split("==")[0] in BUILDING
        ]
        assert len(kept) == len(BUILDING)
        lock.write_text("".join(kept))
        # Completion imports every command, and those import what the short lock does not have.
        module = folder / "daemon/propstick/app/commands/completion.py"
        module.write_text(
            'def configure(parser):\n    parser.add_argument("shell")\n\n\ndef run(args):\n    return 0\n'
        )
    return folder


def code_of(release):
    (file,) = release.glob("lib/python3*/site-packages/propstick/errors.py")
    return file.read_text()


def picture(root):
    """Every file outside the environment, with its contents; and links."""
    found = {}
    for path in sorted(root.rglob("*")):
        if path.is_symlink():
            found[str(path)] = os.readlink(path)
        elif path.is_file() and "/releases/" not in str(path):
            found[str(path)] = path.read_bytes()
    return found
