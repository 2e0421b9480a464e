"""The two manuals for the plot: safety before all else, links that lead somewhere, commands that exist."""

import re
from pathlib import Path

import pytest

from propstick.app import cli

ROOT = Path(__file__).resolve().parents[2]
READMES = (ROOT / "hardware" / "README.md", ROOT / "deploy" / "README.md")


@pytest.fixture(params=READMES, ids=lambda path: path.parent.name)
def readme(request):
    return request.param


def test_safety_comes_first(readme):
    """Before anything to buy or to type, with each of the dangers."""
    headings = re.findall(r"^## (.*)$", readme.read_text(), re.M)
    assert headings[0] == "Safety first"
    first = readme.read_text().split("\n## ")[1].lower()
    for danger in ("licensed person", "extra-low voltage", "residual-current", "drip loop", "ip44", "lithium",
                   "glass lid", "hot glass", "never rely on this alone"):  # fmt: skip
        assert danger in first, danger


def test_every_link_leads_to_something(readme):
    for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", readme.read_text()):
        assert (readme.parent / target).exists(), target


def test_every_command_named_is_one_of_ours(readme):
    named = set(re.findall(r"(?:^|[`\s])propstick ([a-z]+)\b", readme.read_text(), re.M))
    assert named
    assert named <= cli.COMMANDS.keys(), named - cli.COMMANDS.keys()


def test_every_source_cited_is_listed():
    """[D9] in the text of hardware/ has a row in its list of sources, and none is listed for nothing."""
    text, _, sources = READMES[0].read_text().partition("\n## Sources")
    cited = set(re.findall(r"\b([DS]\d+)\b", " ".join(re.findall(r"\[([DS]\d+[^\]]*)\]", text))))
    listed = set(re.findall(r"\b([DS]\d+)\b", " ".join(re.findall(r"^\| ([^|]+) \|", sources, re.M))))
    assert cited == listed
