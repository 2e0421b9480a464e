"""The sites of one daemon: put together, run side by side, taken down; waited for where another has them."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

from propstick.app.garden_file.settings import Settings
from propstick.app.live.rounds import AT_ONCE, Rounds
from propstick.app.live.watch import RowListener, lease_s
from propstick.app.live.wiring import Assembly, assemble, open_or_salvage
from propstick.edges.lease import this_process
from propstick.errors import StoreError
from propstick.ports import Clock

if TYPE_CHECKING:
    from propstick.app.live.common import Common

log = logging.getLogger(__name__)

STANDBY_S = 3.0
"""How often a watch in waiting looks whether the site has become free."""


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
    common = None
    if len(all_settings) > 1:
        # Here, with paho: one site without a broker has no use for it.
        from propstick.app.live.common import Common

        common = Common(all_settings, clock=clock, open_store=open_or_salvage)
    try:
        renewed_s = clock.monotonic_s()
        renew_s = min(lease_s(settings.garden.step_s) for settings in all_settings) / 3
        for settings in all_settings:
            if clock.monotonic_s() - renewed_s > renew_s:
                _renew(assemblies, clock)
                renewed_s = clock.monotonic_s()
            assembly = _when_free(settings, common, clock, on_row, waiting)
            if assembly is None:
                break
            assemblies.append(assembly)
    except BaseException:
        _close_all(assemblies, common)
        raise
    if len(assemblies) < len(all_settings):
        _close_all(assemblies, common)
        return ()
    return tuple(assemblies)


def _when_free(
    settings: Settings,
    common: Common | None,
    clock: Clock,
    on_row: Sequence[RowListener],
    waiting: Callable[[], object] | None,
) -> Assembly | None:
    is_told = False
    while True:
        try:
            return assemble(settings, clock=clock, on_row=on_row, common=common)
        except StoreError as error:
            if error.reason != "leased" or waiting is None:
                raise
            if not is_told:
                log.info("watch-waiting site=%s reason=%r", settings.garden.site.name, error.message)
                is_told = True
        waiting()
        if clock.wait(STANDBY_S):
            return None


def _renew(assemblies: Sequence[Assembly], clock: Clock) -> None:
    """The leases taken so far must not run out while the rest of a thousand sites are put together."""
    for assembly in assemblies:
        ttl_s = lease_s(assembly.watch.state.garden.step_s)
        try:
            assembly.journal.take_lease(this_process(), int(clock.wall_s()), ttl_s)
        except StoreError as error:
            if error.reason == "leased":
                raise
            log.warning("lease-not-renewed reason=%r", error.message)


def _close_all(assemblies: Sequence[Assembly], common: Common | None) -> list[BaseException]:
    """Takes every site down; returns what went wrong."""
    with ThreadPoolExecutor(AT_ONCE, thread_name_prefix="close") as hands:
        closings = [hands.submit(assembly.close) for assembly in assemblies]
    if common is not None:
        common.close()
    return [error for closing in closings if (error := closing.exception()) is not None]


def run_all(assemblies: Sequence[Assembly]) -> None:
    """Runs every site; returns when all have stopped.

    A site on wires has a thread of its own, since a wire that hangs must not keep the neighbours waiting;
    the others take turns. One site that fails takes all down in order, so that the service manager starts
    all anew.
    """
    if len(assemblies) == 1:
        assemblies[0].run()
        return
    failures: list[BaseException] = []

    def run(rows: Callable[[], None]) -> None:
        try:
            rows()
        except BaseException as error:
            failures.append(error)
            assemblies[0].stop()  # one clock wakes all

    ways = [assembly.watch.run for assembly in assemblies if assembly.is_wired]
    wireless = [assembly.watch for assembly in assemblies if not assembly.is_wired]
    if wireless:
        ways.append(Rounds(wireless, assemblies[0].clock).run)
    threads = [threading.Thread(target=run, args=(way,), name=f"watch {k}") for k, way in enumerate(ways)]
    try:
        for assembly in assemblies:
            assembly.begin()
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    finally:
        failures.extend(_close_all(assemblies, assemblies[0].common))
    if failures:
        raise failures[0]
