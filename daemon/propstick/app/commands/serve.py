"""`propstick serve`: the page and the HTTP interface."""

from __future__ import annotations

import argparse

from propstick.app.garden_file.load import find_file, load_all


def configure(parser: argparse.ArgumentParser) -> None:
    """Adds the command's options."""
    parser.epilog = (
        "  propstick serve\n"
        "  propstick serve --garden /etc/propstick/gardens\n\n"
        "Listens where [api] of the garden file says, on this machine only unless told otherwise; any other\n"
        "address needs a pass phrase first: propstick passphrase. With a folder for --garden every *.toml\n"
        "in it is a garden, reached by the name in its [api] address, and shut until it has a pass phrase\n"
        "of its own. Runs until SIGTERM or Ctrl-C.\n"
    )


def run(args: argparse.Namespace) -> int:
    """Runs the command."""
    from propstick.app.live import service

    return service.serve(*load_all(find_file(args.garden), probes_required=False))
