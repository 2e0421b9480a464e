"""How often the phone rings: three weeks of the simulated garden, lived with a person in the loop.

`python -m tests.bench.people [SEED ...]` prints notices per site and day, by kind, for a person at home
who follows the advice and for one who is away from 8 to 17 h; for comparison the same person at home
with the thresholds alone, and boxes that nobody touches. It takes about five minutes on two cores.
"""

from __future__ import annotations

import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from propstick.blocks import Block
from propstick.engine.pipeline import advance, begin
from propstick.garden import Garden
from propstick.news import CoverTold, LidTold, News
from propstick.records import Brief, Notice
from propstick.simulation.people import FollowsNotices, Hands, Nobody
from propstick.simulation.scenario import Scenario, spring
from propstick.times import local, local_date

DAYS = 21
QUIET_DAY, QUIET_NIGHT = 2, 1
"""The design's aim: notices on a sunny day, and in a night, briefs apart."""
MINUTES_A_DAY = 1440


@dataclass(frozen=True)
class Lived:
    """What a person got, and what their boxes went through."""

    notices: tuple[Notice, ...]
    briefs: tuple[Brief, ...]
    scorched_minutes: int
    """Box-minutes more than 3 °C above the heat limit."""
    frozen_minutes: int
    """Box-minutes more than 1 °C below the frost limit."""


def live(
    scenario: Scenario,
    garden: Garden,
    *,
    hands: Hands | None = None,
    foresight: bool = True,
    tells: bool = True,
    rows: int = 1,
) -> Lived:
    """Lives a scenario, the person acting on what reaches them.

    Args:
        hands: Who moves lids and covers; without, a person with a blanket for each box follows the advice.
        tells: The person tells the watch what they did with lid and cover.
        rows: Minutes handed to the engine at a time; more than one only where nobody acts on its word.
    """
    hands = hands or FollowsNotices(
        garden.box_names,
        person=garden.person,
        zone=garden.site.zone,
        covers=frozenset(garden.box_names),
        seed=7,
    )
    play = scenario.play(hands)
    state = begin(garden, foresight=foresight)
    ids = tuple(probe.id for probe in scenario.probes)
    notices: list[Notice] = []
    briefs: list[Brief] = []
    fresh: tuple[tuple[Notice, ...], tuple[Brief, ...]] = ((), ())
    told: dict[tuple[type, str], float] = {}
    scorched = frozen = 0
    while not play.over:
        start_s = play.time_s
        news: list[News] = []
        raw, flags, truth = [], [], []
        while len(raw) < rows and not play.over:
            minute = play.step(*fresh)
            fresh = ((), ())
            raw.append(minute.sensed.raw_c)
            flags.append(minute.sensed.flags)
            truth.append(minute.now.air_c)
            if tells:
                news += _changes(garden, minute.now.time_s, minute.lid, minute.cover, told)
        block = Block(start_s, 60, ids, np.round(np.stack(raw), 2), np.stack(flags))
        state, outcome = advance(state, block, news)
        fresh = (outcome.notices, outcome.briefs)
        notices.extend(outcome.notices)
        briefs.extend(outcome.briefs)
        boxes = outcome.now[: len(garden.boxes)]
        heat_c = np.array([now.heat_c or np.inf for now in boxes])
        frost_c = np.array([-np.inf if now.frost_c is None else now.frost_c for now in boxes])
        scorched += int((np.stack(truth) > heat_c + 3).sum())
        frozen += int((np.stack(truth) < frost_c - 1).sum())
    return Lived(tuple(notices), tuple(briefs), scorched, frozen)


def _changes(
    garden: Garden, time_s: int, lid: np.ndarray, cover: np.ndarray, told: dict[tuple[type, str], float]
) -> list[News]:
    """What the person tells of a minute: lids and covers that are not as they were `told` last."""
    news: list[News] = []
    for k, box in enumerate(garden.box_names):
        opening, on = round(float(lid[k]), 2), float(cover[k])
        if told.get((LidTold, box)) != opening:
            news.append(LidTold(time_s=time_s, box=box, opening=opening))
        if told.get((CoverTold, box)) != on:
            news.append(CoverTold(time_s=time_s, box=box, on=bool(on)))
        told[LidTold, box], told[CoverTold, box] = opening, on
    return news


def by_day(garden: Garden, notices: tuple[Notice, ...]) -> Counter:
    """Notices of the day, by local date."""
    return Counter(local_date(n.issued_s, garden.site.zone) for n in notices if not _is_of_night(garden, n))


def by_night(garden: Garden, notices: tuple[Notice, ...]) -> Counter:
    """Notices of frost, lids and troubles between noon's evening and the next noon, by the evening's date."""
    return Counter(
        local_date(n.issued_s - 12 * 3600, garden.site.zone) for n in notices if _is_of_night(garden, n)
    )


def _is_of_night(garden: Garden, notice: Notice) -> bool:
    return not 8 <= local(notice.issued_s, garden.site.zone).hour < 18


PEOPLE = ("at home", "away 8 to 17", "at home, thresholds alone", "nobody")


def row(seed: int, who: str, days: float = DAYS) -> str:
    """One row of the table."""
    scenario = spring(seed=seed, days=days)
    away = scenario.garden
    garden = (
        away if who.startswith("away") else replace(away, person=replace(away.person, leaves=None, back=None))
    )
    if who == "nobody":
        lived = live(scenario, garden, hands=Nobody(len(garden.boxes)), rows=MINUTES_A_DAY)
    else:
        lived = live(scenario, garden, foresight="thresholds" not in who)
    most = [max(count(garden, lived.notices).values(), default=0) for count in (by_day, by_night)]
    kinds = Counter("+".join(n.kinds) for n in lived.notices)
    said = ", ".join(f"{kind} {count}" for kind, count in kinds.most_common())
    longest = max((len(brief.text) for brief in lived.briefs), default=0)
    return (
        f"| {who} | {seed} | {len(lived.notices) / days:.2f} | {most[0]} of {QUIET_DAY} "
        f"| {most[1]} of {QUIET_NIGHT} | {said or 'none'} | {longest} "
        f"| {lived.scorched_minutes} | {lived.frozen_minutes} |"
    )


def main(seeds: list[int]) -> int:
    print(
        "| person | seed | notices a day | most in a day | most in a night | by kind | longest brief "
        "| scorched min | frozen min |"
    )
    print("| --- | --- | --- | --- | --- | --- | --- | --- | --- |")
    asked = [(seed, who) for seed in seeds for who in PEOPLE]
    with ProcessPoolExecutor() as pool:
        for line in pool.map(row, *zip(*asked, strict=True)):
            print(line, flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main([int(seed) for seed in sys.argv[1:]] or [1, 2]))
