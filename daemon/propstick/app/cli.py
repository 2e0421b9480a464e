"""The command line: which commands there are, and how they end.

Nothing heavy is imported here. A command's module is imported when it is called; until then the table
below is all that is known of it.
"""

from __future__ import annotations

import argparse
import importlib
import os
import sys
from collections.abc import Sequence

from propstick.errors import ConfigError, InputError, PropstickError

FINE, FAULT, REFUSED, NOT_STARTED = 0, 1, 2, 3
"""Exit status: fine; a fault; usage or input refused; could not start."""
INTERRUPTED = 130
"""What a shell expects after Ctrl-C: 128 + SIGINT."""

COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("demo", "watch a simulated garden of three boxes, faster than life; needs no Pi"),
    "replay": ("replay", "run a recording, or a stored night, through the watch's own decisions"),
    "setup": ("setup", "eight questions on the first evening, and the garden file is written"),
    "watch": ("watch", "the daemon: read probes, store readings, warn in time"),
    "serve": ("serve", "the page and the HTTP interface beside the watch"),
    "passphrase": ("passphrase", "set what one must know to see the page from another machine"),
    "check": ("check", "garden file, probes, store, broker, push, clock, disk: one line each"),
    "probes": ("probes", "list probes, name them, find which one is in your hand"),
    "calibrate": ("calibrate", "correct a probe in ice water"),
    "lid": ("lid", "say how far a lid is open"),
    "cover": ("cover", "say that a blanket is on or off"),
    "watered": ("watered", "say that a box was watered, just now or earlier"),
    "harden": ("harden", "begin a week of hardening off: the evening brief then tells each day's lid"),
    "sow": ("sow", "write down a sowing, and the days you saw it up, picked, cleared"),
    "season": ("season", "when each batch comes up and is picked, what to sow next, what the boxes gained"),
    "import": ("importing", "put a recording into the store"),
    "export": ("exporting", "write stored readings or alarms to a file"),
    "backup": ("backup", "copy the store to a file while the watch runs"),
    "restore": ("restore", "put a backup in the store's place"),
    "completion": ("completion", "print what lets the Tab key of your shell know Propstick"),
}
"""Command: (module in `app/commands`, what it does). The order is that of the help."""

STARTING = frozenset({"watch", "serve", "demo"})
"""Commands that stay: an error of ours that ends them means they could not start."""

_OPENING = """\
Propstick watches cold frames: it warns in time to open or close a lid, and replays the night afterwards.

  propstick demo                       a simulated garden; needs no Pi
  propstick replay night.csv           which warnings a recording would have given
  propstick check                      is everything as it should be, and what to do if not
"""
_CLOSING = """\
Options of a command: propstick COMMAND --help. Exit status: 0 fine, 1 fault, 2 refused, 3 could not start.
"""


def main(argv: Sequence[str] | None = None) -> int:
    """Runs one command and returns its exit status; prints a message, never a traceback, for our errors."""
    words = list(sys.argv[1:] if argv is None else argv)
    try:
        return _run(words)
    except PropstickError as error:
        print(f"propstick: {error}", file=sys.stderr)
        return _status_of(error, called_word(words))
    except BrokenPipeError:
        # The reader (head, less) has gone. Python would complain once more when it closes stdout.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return FINE
    except KeyboardInterrupt:
        print(file=sys.stderr)
        return INTERRUPTED


def _run(words: list[str]) -> int:
    called = called_word(words)
    parser, commands = _parser()
    if not words:
        parser.print_help(sys.stderr)
        return REFUSED
    if called is not None:
        _must_be_known(called)
        module = importlib.import_module(f"propstick.app.commands.{COMMANDS[called][0]}")
        module.configure(commands[called])
        commands[called].set_defaults(run=module.run)
    try:
        args = parser.parse_args(garden_first(words))
        status = args.run(args)
        sys.stdout.flush()
    except SystemExit as end:  # argparse ends so, after --help or a usage error
        return int(end.code or 0) if not isinstance(end.code, str) else FAULT
    return int(status)


def called_word(words: Sequence[str]) -> str | None:
    """The command's word: the first that is neither an option nor the value of `--garden`."""
    rest = iter(words)
    for word in rest:
        if word == "--garden":
            next(rest, None)
        elif not word.startswith("-"):
            return word
    return None


def garden_first(words: Sequence[str]) -> list[str]:
    """`--garden FILE` put right behind the command: argparse would not know it after `probes list`."""
    found: list[str] = []
    rest: list[str] = []
    given = iter(words)
    for word in given:
        if word == "--":
            rest += [word, *given]
        elif word == "--garden":
            found += [word, *([value] if (value := next(given, None)) is not None else [])]
        elif word.startswith("--garden="):
            found.append(word)
        else:
            rest.append(word)
    called = called_word(rest)
    at = rest.index(called) + 1 if called is not None else 0
    return [*rest[:at], *found, *rest[at:]]


def _must_be_known(word: str) -> None:
    if word not in COMMANDS:
        from difflib import get_close_matches

        near = get_close_matches(word, COMMANDS, n=1)
        expected = f"one of {', '.join(COMMANDS)}" + (f"; the nearest is {near[0]}" if near else "")
        raise InputError(f"command: got {word!r}, expected {expected}", hint="propstick --help")


def _status_of(error: PropstickError, command: str | None) -> int:
    if isinstance(error, ConfigError | InputError):
        return REFUSED
    return NOT_STARTED if command in STARTING else FAULT


def _parser() -> tuple[argparse.ArgumentParser, dict[str, argparse.ArgumentParser]]:
    parser = argparse.ArgumentParser(
        prog="propstick",
        usage=argparse.SUPPRESS,
        description=_OPENING,
        epilog=_CLOSING,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    _garden_option(parser, default=None)
    parser.add_argument("--version", action=_ShowVersion, nargs=0, help="show the version and exit")
    group = parser.add_subparsers(
        title="commands", metavar="COMMAND", required=True, dest="command", prog="propstick"
    )
    commands: dict[str, argparse.ArgumentParser] = {}
    for name, (_, help_text) in COMMANDS.items():
        commands[name] = group.add_parser(
            name,
            help=help_text,
            description=help_text[0].upper() + help_text[1:] + ".",
            formatter_class=argparse.RawDescriptionHelpFormatter,
            conflict_handler="resolve",
        )
        # A command may define --garden anew, with its own words.
        _garden_option(commands[name], default=argparse.SUPPRESS)
    return parser, commands


def whole_parser() -> argparse.ArgumentParser:
    """The parser with every command's options: imports all their modules, so only for what needs all."""
    parser, commands = _parser()
    for name, (module, _) in COMMANDS.items():
        importlib.import_module(f"propstick.app.commands.{module}").configure(commands[name])
    return parser


def _garden_option(parser: argparse.ArgumentParser, *, default: str | None) -> None:
    parser.add_argument(
        "--garden",
        metavar="FILE",
        default=default,
        help="the garden file (default ./garden.toml, else /etc/propstick/garden.toml)",
    )


class _ShowVersion(argparse.Action):
    """Looks the version up only when asked: that costs a good part of the help's time."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> None:
        from importlib.metadata import version

        print(f"propstick {version('propstick')}")
        parser.exit(FINE)
