"""`propstick completion`: what a shell needs to complete our commands and options."""

from __future__ import annotations

import argparse

from propstick.app.cli import whole_parser

FILES = frozenset({"FILE", "RECORDING"})
"""Metavars behind which a shell offers files."""


def configure(parser: argparse.ArgumentParser) -> None:
    """Adds the command's options."""
    parser.epilog = (
        "  propstick completion bash > ~/.local/share/bash-completion/completions/propstick\n"
        "  propstick completion zsh > ~/.zfunc/_propstick        # with ~/.zfunc in fpath\n\n"
        "deploy/install has done this for the whole machine. Takes effect in the next shell.\n"
    )
    parser.add_argument("shell", choices=("bash", "zsh"), help="which shell")


def run(args: argparse.Namespace) -> int:
    """Runs the command."""
    print(script(args.shell))
    return 0


def script(shell: str) -> str:
    """The completion script for a shell, made from the commands as they are."""
    import shtab

    parser = whole_parser()
    _offer_files(parser, shtab.FILE)
    return shtab.complete(parser, shell)


def _offer_files(parser: argparse.ArgumentParser, files: dict[str, str]) -> None:
    for action in parser._actions:  # argparse has no public way to walk a parser
        if isinstance(action, argparse._SubParsersAction):
            for inner in action.choices.values():
                _offer_files(inner, files)
        elif action.metavar in FILES:
            action.complete = files
