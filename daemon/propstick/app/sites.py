"""The sites of one daemon: put together, run side by side, taken down; waited for where another has them."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Sequence

from propstick.app.settings import Settings
from propstick.app.watch import RowListener
from propstick.app.wiring import Assembly, assemble, open_or_salvage
from propstick.edges.database import Store
from propstick.errors import StoreError
from propstick.ports import Clock

log = logging.getLogger(__name__)

STANDBY_S = 3.0
"""How often a watch in waiting looks whether the site has become free."""
AT_ONCE = 4
"""Rows under way in one process. All fall due at the same second; more at once only get in one another's way,
and would stand in line for the database's connections instead."""


def assemble_all(
    all_settings: Sequence[Settings],
    *,
    clock: Clock,
    on_row: Sequence[RowListener] = (),
    waiting: Callable[[], object] | None = None,
) -> tuple[Assembly, ...]:
    """The watches of all sites of a daemon, or of none.

    Args:
        waiting: Called now and then while another watch holds a site; None: do not wait for it.

    Returns:
        One for each garden file; none if the clock was woken for good while waiting.

    Raises:
        StoreError: as `assemble`; what was put together before is taken down.
    """
    assemblies: list[Assembly] = []
    # One a database, not one a site: a server has connections for some hundred, not for thousands. Whoever
    # closes it closes only connections that nobody is using.
    stores: dict[str, Store] = {}
    turn = threading.BoundedSemaphore(AT_ONCE)
    try:
        for settings in all_settings:
            url = settings.store.url
            if url not in stores:
                stores[url] = open_or_salvage(url)
            assembly = _when_free(settings, stores[url], turn, clock, on_row, waiting)
            if assembly is None:
                break
            assemblies.append(assembly)
    except BaseException:
        _close_all(assemblies)
        raise
    if len(assemblies) < len(all_settings):
        _close_all(assemblies)
        return ()
    return tuple(assemblies)


def _when_free(
    settings: Settings,
    store: Store,
    turn: threading.BoundedSemaphore,
    clock: Clock,
    on_row: Sequence[RowListener],
    waiting: Callable[[], object] | None,
) -> Assembly | None:
    is_told = False
    while True:
        try:
            return assemble(settings, clock=clock, on_row=on_row, store=store, turn=turn)
        except StoreError as error:
            if error.reason != "leased" or waiting is None:
                raise
            if not is_told:
                log.info("watch-waiting site=%s reason=%r", settings.garden.site.name, error.message)
                is_told = True
        waiting()
        if clock.wait(STANDBY_S):
            return None


def _close_all(assemblies: Sequence[Assembly]) -> None:
    for assembly in assemblies:
        assembly.close()


def run_all(assemblies: Sequence[Assembly]) -> None:
    """Runs every site, each in a thread of its own; returns when all have stopped.

    One site that fails takes the others down in order, so that the service manager starts all anew.
    """
    if len(assemblies) == 1:
        assemblies[0].run()
        return
    failures: list[BaseException] = []

    def run(assembly: Assembly) -> None:
        try:
            assembly.run()
        except BaseException as error:
            failures.append(error)
            for other in assemblies:
                other.stop()

    threads = [threading.Thread(target=run, args=(a,), name=f"watch {k}") for k, a in enumerate(assemblies)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    if failures:
        raise failures[0]
