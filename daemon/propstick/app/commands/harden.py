"""`propstick harden BOX on|off`: from then on the evening brief tells what its lid is to do."""

from __future__ import annotations

import argparse

from propstick.app.commands._asking import ask


def configure(parser: argparse.ArgumentParser) -> None:
    """Adds the command's options."""
    parser.epilog = (
        "  propstick harden north on\n\n"
        "A week of lid openings before the cover goes, a little more each day. The evening brief says each\n"
        "time how far tonight and tomorrow, by the night that is coming. Days count as the lid is recorded.\n"
        "The whole week: propstick season --harden north\n"
    )
    parser.add_argument("box", metavar="BOX", help="a box of the garden file")
    parser.add_argument("state", choices=("on", "off"), help="whether it is being hardened off")


def run(args: argparse.Namespace) -> int:
    """Runs the command."""
    said = "hardening off, told of in the evening brief" if args.state == "on" else "no longer hardened off"
    return ask(args, "hardening", {"box": args.box, "on": args.state == "on"}, said)
