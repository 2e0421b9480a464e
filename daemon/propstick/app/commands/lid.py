"""`propstick lid BOX OPENING`: what the watch cannot see, told by the person who did it."""

from __future__ import annotations

import argparse
import re

from propstick.app.commands._asking import ask
from propstick.errors import InputError

WORDS = {"closed": 0.0, "shut": 0.0, "propped": 0.1, "open": 1.0}


def configure(parser: argparse.ArgumentParser) -> None:
    """Adds the command's options."""
    parser.epilog = "  propstick lid north 0.3\n  propstick lid north closed\n"
    parser.add_argument("box", metavar="BOX", help="a box of the garden file")
    parser.add_argument(
        "opening", metavar="OPENING", help="0 (closed) to 1 (fully open), or closed (shut), propped, open"
    )


def run(args: argparse.Namespace) -> int:
    """Runs the command."""
    opening = opening_of(args.opening)
    return ask(
        args,
        "lid",
        {"box": args.box, "opening": opening},
        lid_words(opening),
    )


def lid_words(opening: float) -> str:
    """What was told, as the person reads it back."""
    if opening in (0.0, 1.0):
        return "lid closed" if opening == 0.0 else "lid fully open"
    return f"lid {opening:.0%} open".replace("%", " %")


def opening_of(text: str) -> float:
    """A lid's opening from a word or a number.

    Raises:
        InputError: anything else.
    """
    try:
        opening = WORDS[text] if text in WORDS else float(text.replace(",", "."))
    except ValueError:
        opening = -1.0
    if not 0.0 <= opening <= 1.0:
        percent = re.fullmatch(r"(\d{1,2}|100) ?%?", text)
        raise InputError(
            f"lid: got {text!r}, expected 0 (closed) to 1 (open), or one of {', '.join(WORDS)}",
            hint=f"{percent[1]} % open is {int(percent[1]) / 100:g}" if percent else "",
        )
    return opening
