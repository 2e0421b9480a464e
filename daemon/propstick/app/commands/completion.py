"""`propstick completion`: what a shell needs to complete our commands and options."""

from __future__ import annotations

import argparse

from propstick.app.cli import whole_parser

SHELLS = ("bash", "zsh", "fish")
FILES = ("FILE", "RECORDING", "BACKUP")
"""Metavars that begin so: a shell offers files."""


def configure(parser: argparse.ArgumentParser) -> None:
    """Adds the command's options."""
    parser.epilog = (
        "  propstick completion bash > ~/.local/share/bash-completion/completions/propstick\n"
        "  propstick completion zsh > ~/.zfunc/_propstick        # with ~/.zfunc in fpath\n"
        "  propstick completion fish > ~/.config/fish/completions/propstick.fish\n\n"
        "deploy/install has done this for the whole machine. Takes effect in the next shell.\n"
    )
    parser.add_argument("shell", choices=SHELLS, help="which shell")


def run(args: argparse.Namespace) -> int:
    """Runs the command."""
    print(script(args.shell))
    return 0


def script(shell: str) -> str:
    """The completion script for a shell, made from the commands as they are."""
    import shtab

    parser = whole_parser()
    _prepare(parser, shtab.FILE)
    return shtab.complete(parser, shell)


def _prepare(parser: argparse.ArgumentParser, files: dict[str, str]) -> None:
    """Says where files go, and takes out of the metavars what a script would trip over."""
    for action in parser._actions:  # argparse has no public way to walk a parser
        if isinstance(action, argparse._SubParsersAction):
            for inner in action.choices.values():
                _prepare(inner, files)
        elif isinstance(action.metavar, str):
            if action.metavar.startswith(FILES):
                action.complete = files
            # shtab puts them as they are between quotes, and a colon ends a field of zsh's.
            action.metavar = action.metavar.replace('"', "").replace(":", ".")
