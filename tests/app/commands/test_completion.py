"""Shell completion is made from the commands themselves, so it knows all of them and their options."""

import argparse
import shutil
import subprocess

import pytest

from propstick.app import cli
from propstick.app.commands.completion import script


@pytest.mark.parametrize("shell", ["bash", "zsh"])
def test_every_command_and_option_is_completed(shell):
    text = script(shell)
    for name in cli.COMMANDS:
        assert name in text
    for parser in subparsers_of(cli.whole_parser()):
        for action in parser._actions:
            for option in action.option_strings:
                assert option in text, (parser.prog, option)


def subparsers_of(parser):
    yield parser
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for inner in action.choices.values():
                yield from subparsers_of(inner)


def test_bash_offers_what_fits(tmp_path):
    """Run in a real bash: the commands that begin as typed, and files behind --garden."""
    if shutil.which("bash") is None:
        pytest.skip("bash is not installed")
    (tmp_path / "my.toml").touch()
    (tmp_path / "_propstick").write_text(script("bash"))
    offered = subprocess.run(
        ["bash", "-c", _ASK], cwd=tmp_path, capture_output=True, text=True, check=True
    ).stdout.splitlines()
    assert offered == ["replay restore", "list", "my.toml"]


_ASK = """
source ./_propstick
function=$(complete -p propstick | sed 's/.*-F \\([^ ]*\\).*/\\1/')
ask() {
    COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); COMPREPLY=()
    "$function" propstick "${COMP_WORDS[COMP_CWORD]}" "${COMP_WORDS[COMP_CWORD-1]}" 2>/dev/null
    printf '%s\\n' "$(printf '%s\\n' "${COMPREPLY[@]}" | sort -u | xargs)"
}
ask propstick re
ask propstick probes li
ask propstick check --garden my
"""


def test_an_unknown_shell_is_refused(capsys):
    assert cli.main(["completion", "fish"]) == 2
    assert "bash" in capsys.readouterr().err
