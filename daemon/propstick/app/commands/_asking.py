"""Requests to the watch through the store: the daemon alone writes what they lead to."""

from __future__ import annotations

import argparse
from typing import Any

from propstick.app.commands._shared import settings_of
from propstick.app.store import store_of
from propstick.errors import InputError


def ask(args: argparse.Namespace, kind: str, body: dict[str, Any], told: str) -> int:
    """Writes one request about a box; the watch takes it at its next row.

    Raises:
        InputError: the garden has no such box.
        StoreError: there is no store yet, or it cannot be written.
    """
    settings = settings_of(args)
    names = settings.garden.box_names
    if body["box"] not in names:
        raise InputError(f"{kind}: got box {body['box']!r}, expected one of {', '.join(names) or 'none'}")
    with store_of(settings) as store:
        from propstick.edges.requests import Requests

        Requests(store, settings.garden.site.name).add(kind, body, by="command")
    print(f"{body['box']}: {told}. The watch takes it at its next row, within {settings.garden.step_s} s.")
    return 0
