"""Shell completion is made from the commands themselves, so it knows all of them and their options."""

import argparse
import os
import pty
import shutil
import subprocess

import pytest

from propstick.app import cli
from propstick.app.commands.completion import SHELLS, script


@pytest.mark.parametrize("shell", SHELLS)
def test_every_command_and_option_is_completed(shell):
    text = script(shell)
    for name in cli.COMMANDS:
        assert name in text
    for parser in subparsers_of(cli.whole_parser()):
        for action in parser._actions:
            for option in action.option_strings:
                assert written(option, shell) in text, (parser.prog, option)


def written(option, shell):
    """fish declares `-l garden` and `-s h`."""
    if shell != "fish":
        return option
    return f"-l {option[2:]}" if option.startswith("--") else f"-s {option[1:]}"


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


def test_fish_offers_what_fits(tmp_path):
    """Run in a real fish, whose `complete -C` lists what Tab would."""
    if shutil.which("fish") is None:
        pytest.skip("fish is not installed")
    (tmp_path / "my.toml").touch()
    (tmp_path / "propstick.fish").write_text(script("fish"))
    asked = ("re", "probes li", "check --garden my", "check --thor", "--garden my.toml season --har")
    ask = "; ".join(
        ["source propstick.fish", *(f"echo '>'; complete -C 'propstick {line}'" for line in asked)]
    )
    told = subprocess.run(
        ["fish", "--no-config", "-c", ask],
        cwd=tmp_path,
        env={**os.environ, "HOME": str(tmp_path), "TERM": "dumb"},
        capture_output=True,
        text=True,
        check=True,
    )
    assert told.stderr == ""
    offered = [
        [line.partition("\t")[0] for line in part.split("\n") if line]
        for part in told.stdout.removeprefix(">").split(">")
    ]
    assert offered == [["replay", "restore"], ["list"], ["my.toml"], ["--thorough"], ["--harden"]]


def test_zsh_completes_what_is_typed(tmp_path):
    """Run in a real zsh: Tab on each line, and the line as it then stands."""
    if shutil.which("zsh") is None:
        pytest.skip("zsh is not installed")
    (tmp_path / "my.toml").touch()
    (tmp_path / "_propstick").write_text(script("zsh"))
    (tmp_path / ".zshrc").write_text(_TYPE)
    said = in_a_terminal(["zsh", "-i"], tmp_path)
    assert "error" not in said
    assert (tmp_path / "completed").read_text().split("\n") == [
        "propstick restore ",
        "propstick probes list ",
        "propstick check --thorough ",
        "propstick check --garden my.toml ",
        "propstick replay --what-if ",
        "",
    ]


_TYPE = """
TMOUT=20  # a prompt nobody types at ends by itself
fpath=($PWD $fpath)
autoload -Uz compinit && compinit -u -D
zle-line-init() {
    for typed in resto 'probes li' 'check --thor' 'check --garden m' 'replay --what'; do
        BUFFER="propstick $typed" CURSOR=100
        zle complete-word
        print -r -- "$BUFFER" >>completed
    done
    exit
}
zle -N zle-line-init
"""


def in_a_terminal(command, folder):
    """Runs an interactive shell to its end; what it wrote to its terminal."""
    mine, its = pty.openpty()
    shell = subprocess.Popen(
        command,
        cwd=folder,
        env={**os.environ, "ZDOTDIR": str(folder), "TERM": "dumb"},
        stdin=its,
        stdout=its,
        stderr=its,
        start_new_session=True,
    )
    os.close(its)
    said = b""
    try:
        while part := os.read(mine, 4096):
            said += part
    except OSError:  # Linux says EIO when the last writer has gone
        pass
    os.close(mine)
    assert shell.wait() == 0
    return said.decode(errors="replace")


def test_an_unknown_shell_is_refused(capsys):
    assert cli.main(["completion", "ksh"]) == 2
    assert "bash" in capsys.readouterr().err
