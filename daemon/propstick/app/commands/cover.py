"""`propstick cover BOX on|off`: a blanket or mat on top, told by the person who put it there."""

from __future__ import annotations

import argparse

from propstick.app.commands._asking import ask


def configure(parser: argparse.ArgumentParser) -> None:
    """Adds the command's options."""
    parser.epilog = "  propstick cover north on\n"
    parser.add_argument("box", metavar="BOX", help="a box of the garden file")
    parser.add_argument("state", choices=("on", "off"), help="whether the blanket is on")


def run(args: argparse.Namespace) -> int:
    """Runs the command."""
    return ask(args, "cover", {"box": args.box, "on": args.state == "on"}, f"cover {args.state}")
