"""Starts the web service beside the watch, in the same process.

The service stands above this layer and may import it, never the other way round; so it is called by
name, like any plug-in.
"""

from __future__ import annotations

import importlib
from typing import Protocol

from propstick.app.garden_file.settings import Settings
from propstick.ports import Clock

SERVER = "propstick_api.server"


class RunningService(Protocol):
    """A service under way in threads of its own."""

    address: str

    def stop(self) -> None:
        """Ends it; open event streams are cut after a few seconds."""


def serve(*all_settings: Settings) -> int:
    """Serves one garden or several until told to stop; for `propstick serve`."""
    return int(importlib.import_module(SERVER).serve(*all_settings))


def start_beside(*all_settings: Settings, clock: Clock) -> RunningService:
    """Starts the service on the settings' address, or on a free port if that one is taken.

    Args:
        clock: What is now: the machine's clock, or a demonstration's.
    """
    return importlib.import_module(SERVER).start_beside(*all_settings, clock=clock)
