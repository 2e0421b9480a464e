"""`propstick serve`: the page and the HTTP interface."""

from __future__ import annotations

import argparse

from propstick.app.commands._shared import settings_of


def configure(parser: argparse.ArgumentParser) -> None:
    """Adds the command's options."""
    parser.epilog = (
        "  propstick serve\n\n"
        "Listens where [api] of the garden file says, on this machine only unless told otherwise; any other\n"
        "address needs a pass phrase first: propstick passphrase. Runs until SIGTERM or Ctrl-C.\n"
    )


def run(args: argparse.Namespace) -> int:
    """Runs the command."""
    from propstick.app import service

    return service.serve(settings_of(args, probes_required=False))
