"""`propstick setup`: eight questions on the first evening, and the garden file is written."""

from __future__ import annotations

import argparse
import socket
import sys

from propstick.app.setup import files
from propstick.app.setup.evening import Evening, Tools
from propstick.app.setup.talk import Talk
from propstick.ports import Channel

_EPILOG = """\
  propstick setup
  propstick setup --garden plot.toml

An empty answer takes what stands in [brackets]; `back` goes to the question before. Break off with Ctrl-C
or `quit` at any time: called again it goes on where you stopped. A garden file that is there already is kept
under another name, and only replaced if you say so. All of it can be done by hand: deploy/garden.toml.

Exit status 1 if the file is written but a box is not watched yet, for want of an air probe.
"""


def configure(parser: argparse.ArgumentParser) -> None:
    """Adds the command's options."""
    parser.epilog = _EPILOG
    parser.add_argument(
        "--anew", action="store_true", help="forget an evening that was broken off (default: go on with it)"
    )


def run(args: argparse.Namespace) -> int:
    """Runs the command."""
    from propstick.edges.clock import SystemClock
    from propstick.edges.onewire import KERNEL_TREE, find_buses

    clock = SystemClock()
    tools = Tools(
        buses=lambda: find_buses(KERNEL_TREE),
        clock=clock,
        channel=_channel,
        zone=files.system_zone(),
        host=socket.gethostname(),
        secret=files.ask_secret if sys.stdin.isatty() else None,
    )
    evening = Evening(files.garden_file(args.garden), Talk(sys.stdin, sys.stdout), tools)
    try:
        return evening.hold(anew=args.anew)
    except KeyboardInterrupt:
        if files.read_progress(evening.file) is not None:
            print("\nWhat was answered is kept: propstick setup goes on from there.", end="")
        raise


def _channel(url: str) -> Channel:
    from propstick.edges.push import AppriseChannel

    return AppriseChannel(url, "phone")
