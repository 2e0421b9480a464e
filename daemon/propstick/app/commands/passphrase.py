"""`propstick passphrase`: what one must know to look at the page from another machine."""

from __future__ import annotations

import argparse
import getpass
import sys
import time
from typing import TYPE_CHECKING

from propstick.app.commands._shared import say, settings_of
from propstick.app.store import store_of
from propstick.errors import InputError
from propstick.times import DAY_S

if TYPE_CHECKING:
    from propstick.edges.access import AccessBook

TOKEN_S = 3650 * DAY_S
"""Ten years: until the pass phrase changes."""


def configure(parser: argparse.ArgumentParser) -> None:
    """Adds the command's options."""
    parser.epilog = (
        "  propstick passphrase\n"
        "  propstick passphrase --token kitchen-display\n"
        "  propstick passphrase --garden /etc/propstick/gardens/plot7.toml\n\n"
        "Asks twice and shows nothing. The store keeps a salted scrypt of it, for this garden alone. A new\n"
        "phrase signs everybody out, and ends every token.\n"
    )
    how = parser.add_mutually_exclusive_group()
    how.add_argument(
        "--stdin", action="store_true", help="read the phrase from the first line of standard input"
    )
    how.add_argument("--remove", action="store_true", help="ask for none from now on; only for this machine")
    how.add_argument(
        "--token", metavar="NAME", help="print a bearer token for a program of yours; shown this once"
    )


def run(args: argparse.Namespace) -> int:
    """Runs the command."""
    from propstick.edges.access import AccessBook

    settings = settings_of(args, probes_required=False)
    phrase = None if args.remove or args.token is not None else _asked(args)
    with store_of(settings, create=True) as store:
        book, now_s = AccessBook(store, settings.garden.site.name), int(time.time())
        if args.remove:
            say("Pass phrase removed." if book.remove_passphrase() else "There was none.")
        elif args.token is not None:
            _print_token(book, args.token, now_s)
        else:
            book.set_passphrase(phrase, now_s=now_s)
            say("Pass phrase set. Everybody signs in anew.")
    return 0


def _print_token(book: AccessBook, name: str, now_s: int) -> None:
    if not book.has_passphrase():
        raise InputError(
            "--token: got no pass phrase in the store, expected one first", hint="propstick passphrase"
        )
    print(book.open_session(name, now_s=now_s, lasts_s=TOKEN_S))
    say("Keep it like a password: Authorization: Bearer ... It ends when the pass phrase changes.")


def _asked(args: argparse.Namespace) -> str:
    if args.stdin:
        return sys.stdin.readline().rstrip("\r\n")
    if not sys.stdin.isatty():
        raise InputError(
            "passphrase: got no terminal to ask on, expected one", hint="propstick passphrase --stdin"
        )
    first = getpass.getpass("Pass phrase: ")
    if getpass.getpass("Once more: ") != first:
        raise InputError("passphrase: got two different ones, expected the same twice", hint="try again")
    return first
