"""`propstick demo`: the real watch on a simulated garden of three boxes."""

from __future__ import annotations

import argparse
import logging
import shutil
import signal
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from propstick.app.garden_file.settings import Settings


def configure(parser: argparse.ArgumentParser) -> None:
    """Adds the command's options."""
    parser.epilog = (
        "  propstick demo\n"
        "  propstick demo --speed 3600 --days 3        an hour a second, three days\n\n"
        "Begins on a clear evening in March. Its person follows the notices, and is away on weekdays from\n"
        "8 to 17 h. Ends with Ctrl-C and leaves nothing behind, unless told to."
    )
    parser.add_argument(
        "--speed", type=float, default=600.0, metavar="X",
        help="times faster than life, 1 to 100000 (default 600: a day in about two and a half minutes)",
    )  # fmt: skip
    parser.add_argument(
        "--days", type=float, default=7.0, metavar="N", help="days to live, 0.1 to 60 (default 7)"
    )
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="another spring (default 1)")
    parser.add_argument(
        "--keep", metavar="FOLDER", help="keep store, garden file and probe files there (default: nothing)"
    )
    parser.add_argument(
        "--unit", choices=("C", "F"), default="C", help="the unit of the garden's person (default C)"
    )
    parser.add_argument("--no-page", action="store_true", help="do not serve the page")


def run(args: argparse.Namespace) -> int:
    """Runs the command."""
    from propstick.errors import InputError

    for name, low, high in (("speed", 1, 100_000), ("days", 0.1, 60)):
        value = getattr(args, name)
        if not low <= value <= high:
            raise InputError(f"--{name}: got {value:g}, expected {low:g} to {high:g}")
    kept = Path(args.keep) if args.keep else None
    if kept is not None and kept.exists() and any(kept.iterdir()):
        raise InputError(f"--keep: {kept} is not empty, expected a new or an empty folder")
    folder = kept or Path(tempfile.mkdtemp(prefix="propstick-demo-"))
    folder.mkdir(parents=True, exist_ok=True)
    try:
        return _live(args, folder)
    finally:
        if kept is None:
            shutil.rmtree(folder, ignore_errors=True)


def _live(args: argparse.Namespace, folder: Path) -> int:
    from propstick.app.demo.screen import Screen
    from propstick.app.demo.sheet import garden_sheet
    from propstick.app.demo.world import MINUTE_S, HurryingClock, ReadersClock, World
    from propstick.app.garden_file.settings import Settings, StoreSettings
    from propstick.app.live import service
    from propstick.app.live.wiring import assemble
    from propstick.simulation.scenario import spring
    from propstick.times import local

    logging.basicConfig(filename=folder / "watch.log", level=logging.INFO, format="%(message)s")
    scenario = spring(seed=args.seed, days=args.days)
    garden = replace(scenario.garden, site=replace(scenario.garden.site, unit=args.unit))
    (folder / "garden.toml").write_text(garden_sheet(garden), encoding="utf-8")
    settings = Settings(
        garden=garden,
        store=StoreSettings(url=f"sqlite:///{folder.resolve()}/propstick.db"),
        path=folder / "garden.toml",
    )
    _sow(settings)
    world = World(scenario, folder / "w1")
    begun_s = world.start_s + MINUTE_S
    world.live_until(begun_s)
    clock = HurryingClock(begun_s, speed=args.speed, live=world.live_until)
    readers = ReadersClock(begun_s)
    page = None if args.no_page else service.start_beside(settings, clock=readers)
    where = f"page: {page.address}" if page else "no page"
    screen = Screen(garden, f"Propstick demo, {args.speed:g} x life; {where}; Ctrl-C ends it")
    assembly = assemble(
        settings,
        clock=clock,
        buses=world.buses,
        channels={},
        extra_news=world.take_moves,
        watches_file=False,
        on_row=[
            screen.on_row,
            readers.on_row,
            lambda _row, _state, outcome, _readings: world.hear(outcome.notices, outcome.briefs),
            lambda *_: clock.wake() if world.is_over else None,
        ],
    )
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: clock.wake())
    try:
        assembly.run()
    finally:
        screen.close()
        if page is not None:
            page.stop()
    if args.keep:
        print(f"Kept in {folder}: garden.toml, propstick.db, w1/, watch.log")
        night = local(begun_s, garden.site.zone).date()
        print(f"Try: propstick replay --garden {folder}/garden.toml --night {night}")
    return 0


def _sow(settings: Settings) -> None:
    """Writes the garden's batches into the store, as its person has."""
    from propstick.app.store import store_of
    from propstick.edges.sowings import Sowings

    with store_of(settings, create=True) as store:
        sowings = Sowings(store, settings.garden.site.name)
        for sowing in settings.garden.sowings:
            fields = {"crop": sowing.limits.crop, "box": sowing.box, "sown": sowing.sown}
            if sowing.up is not None:
                fields["first_up"] = sowing.up
            sowings.add(fields, by="demo")
