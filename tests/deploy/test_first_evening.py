"""The log of a first evening: what it types can still be typed, what it names still exists."""

import re
import shlex
from pathlib import Path

import pytest

from propstick.app import cli

ROOT = Path(__file__).resolve().parents[2]
LOG = ROOT / "deploy" / "first-evening-log.md"
TYPED = re.findall(r"^    \$ (.+)$", LOG.read_text(), re.M)


def called(line):
    """The words that reach propstick when a line is typed; empty if it is not our program."""
    words = shlex.split(line.replace("<this repository>", "REPOSITORY"))
    if words[:2] == ["deploy/try", "run"] or words[:2] == ["sudo", "propstick"]:
        return words[2:]
    return words[1:] if words[0] == "deploy/try" else []


OURS = sorted({" ".join(called(line)) for line in TYPED if called(line)})
SCRIPTS = sorted(
    {word for line in TYPED for word in line.split() if word.startswith("deploy/") and word != "deploy/try"}
)


@pytest.mark.parametrize("line", OURS)
def test_a_command_typed_there_still_exists_with_its_options(line, capsys):
    """`--help` of the command names every option the log types."""
    words = line.split()
    assert words[0] in cli.COMMANDS
    assert cli.main([words[0], "--help"]) == cli.FINE
    helped = capsys.readouterr().out
    for word in words[1:]:
        if word.startswith("--"):
            assert re.search(rf"{word}\b", helped), f"{word} of {line!r}"


def test_the_log_types_both_paths():
    assert {"demo", "replay", "setup", "check"} <= {line.split()[0] for line in OURS}
    assert {"deploy/install", "deploy/upgrade", "deploy/rollback", "deploy/remove"} <= set(SCRIPTS)


@pytest.mark.parametrize("script", SCRIPTS)
def test_a_script_typed_there_exists_and_knows_its_options(script):
    text = (ROOT / script).read_text()
    options = {
        word for line in TYPED if script in line.split() for word in line.split() if word.startswith("--")
    }
    assert all(option in text for option in options)


def test_its_links_lead_somewhere_and_both_manuals_lead_to_it():
    for target in re.findall(r"\]\(([^)#]+)\)", LOG.read_text()):
        assert (LOG.parent / target).exists(), target
    for manual in (ROOT / "README.md", ROOT / "deploy" / "README.md"):
        assert LOG.name in manual.read_text()


def test_the_readme_still_tells_the_newcomer_what_the_log_types():
    """Except what is only in deploy/README.md, or follows from a message."""
    manuals = (ROOT / "README.md").read_text() + (ROOT / "deploy" / "README.md").read_text()
    from_a_message = {"sudo propstick probes name 28-3c01b515638c box air"}
    assert [line for line in TYPED if line not in from_a_message and line not in manuals] == []
