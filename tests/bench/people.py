"""How often the phone rings: three weeks of the simulated garden, lived with a person in the loop.

`python -m tests.bench.people [SEED ...]` prints notices per site and day, by kind, for a person at home
who follows the notices and for one who is away from 8 to 17 h.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from propstick.blocks import Block
from propstick.engine.pipeline import advance, begin
from propstick.garden import Garden
from propstick.records import Brief, CoverTold, LidTold, News, Notice
from propstick.simulation.people import FollowsNotices
from propstick.simulation.scenario import Scenario, spring
from propstick.times import local_date

DAYS = 21
QUIET_DAY, QUIET_NIGHT = 2, 1
"""The design's aim: notices on a sunny day, and in a night, briefs apart."""


@dataclass(frozen=True)
class Lived:
    """What a person got, and what their boxes went through."""

    notices: tuple[Notice, ...]
    briefs: tuple[Brief, ...]
    scorched_minutes: int
    """Box-minutes more than 3 °C above the heat limit."""
    frozen_minutes: int
    """Box-minutes more than 1 °C below the frost limit."""


def live(scenario: Scenario, garden: Garden, *, tells: bool = True) -> Lived:
    """Lives a scenario row by row, the person acting on what reaches them.

    Args:
        tells: The person tells the watch what they did with lid and cover.
    """
    hands = FollowsNotices(
        garden.box_names, person=garden.person, zone=garden.site.zone, covers=frozenset({"lane"}), seed=7
    )
    play = scenario.play(hands)
    state = begin(garden)
    ids = tuple(probe.id for probe in scenario.probes)
    notices: list[Notice] = []
    briefs: list[Brief] = []
    fresh: tuple[tuple[Notice, ...], tuple[Brief, ...]] = ((), ())
    last: tuple[list[float], list[float]] | None = None
    scorched = frozen = 0
    while not play.over:
        minute = play.step(*fresh)
        time_s = minute.now.time_s
        news: list[News] = []
        lids, covers = minute.lid.round(2).tolist(), minute.cover.tolist()
        for k, box in enumerate(garden.box_names if tells else ()):
            if last is None or lids[k] != last[0][k]:
                news.append(LidTold(time_s=time_s, box=box, opening=lids[k]))
            if last is None or covers[k] != last[1][k]:
                news.append(CoverTold(time_s=time_s, box=box, on=bool(covers[k])))
        last = (lids, covers)
        block = Block.of_row(time_s, 60, ids, np.round(minute.sensed.raw_c, 2), minute.sensed.flags)
        state, outcome = advance(state, block, news)
        fresh = (outcome.notices, outcome.briefs)
        notices.extend(outcome.notices)
        briefs.extend(outcome.briefs)
        for now, true_c in zip(outcome.now, minute.now.air_c.tolist(), strict=False):
            scorched += true_c > (now.heat_c or 99) + 3
            frozen += true_c < (now.frost_c or -99) - 1
    return Lived(tuple(notices), tuple(briefs), scorched, frozen)


def by_day(garden: Garden, notices: tuple[Notice, ...], is_night: Callable[[Notice], bool]) -> Counter:
    """Notices per local date."""
    return Counter(
        local_date(n.issued_s, garden.site.zone) for n in notices if is_night(n) and n.kinds != ("brief",)
    )


def main(seeds: list[int]) -> int:
    print("| person | seed | notices a day | most in one day | by kind | scorched min | frozen min |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for seed in seeds:
        scenario = spring(seed=seed, days=DAYS)
        away = scenario.garden
        home = replace(away, person=replace(away.person, leaves=None, back=None))
        for word, garden in (("at home", home), ("away 8 to 17", away)):
            lived = live(scenario, garden)
            days = by_day(garden, lived.notices, lambda _: True)
            kinds = Counter("+".join(n.kinds) for n in lived.notices)
            said = ", ".join(f"{kind} {count}" for kind, count in kinds.most_common())
            print(
                f"| {word} | {seed} | {len(lived.notices) / DAYS:.2f} | {max(days.values(), default=0)} "
                f"| {said or 'none'} | {lived.scorched_minutes} | {lived.frozen_minutes} |"
            )
    return 0


if __name__ == "__main__":
    sys.exit(main([int(seed) for seed in sys.argv[1:]] or [1, 2]))
