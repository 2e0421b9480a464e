"""What the rules found over a stretch of rows, as the timeline asks for it: by alarm point and by row."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

import numpy as np

from propstick.engine.conditions import ALARM, SILENCED, UNKNOWN, CodeMemory, Condition, held, no_codes
from propstick.engine.kinds import KINDS
from propstick.engine.standing import Standing, keys_of
from propstick.units import IntArray


class Evidence:
    """The conditions of a span, with short gaps closed.

    Attributes:
        events: By row, the (rule, subject) pairs whose code changes there, as far as it can matter.
        codes: The last evidence of each rule, for the next span.
    """

    def __init__(
        self,
        conditions: Sequence[Condition],
        codes: Mapping[str, CodeMemory],
        *,
        time_s: IntArray,
        before_s: int,
        live: Collection[str],
    ) -> None:
        self.conditions = conditions
        self.codes: dict[str, CodeMemory] = dict(codes)
        self.events: dict[int, list[tuple[int, int]]] = {}
        self._time_s = time_s
        self._where: dict[str, tuple[int, int]] = {}
        self._filled: list[np.ndarray] = []
        self._seen: dict[str, int] = {}
        for r, condition in enumerate(conditions):
            memory = self.codes.get(condition.kind)
            memory = no_codes(condition.subjects) if memory is None else memory.at(condition.subjects)
            filled, before, self.codes[condition.kind] = held(condition, memory, time_s, before_s)
            self._filled.append(filled)
            keys = keys_of(condition.kind, condition.subjects)
            self._where.update(zip(keys, ((r, j) for j in range(len(keys))), strict=True))
            self._find_events(r, keys, filled, before, live)

    def _find_events(
        self, r: int, keys: tuple[str, ...], filled: np.ndarray, before: np.ndarray, live: Collection[str]
    ) -> None:
        # Where nothing is going on, only a value that reaches its setpoint begins something.
        alarms = (filled & (SILENCED - 1)) == ALARM
        for j in np.flatnonzero(alarms.any(axis=0) | [key in live for key in keys]):
            changed = np.flatnonzero(filled[:, j] != before[:, j])
            first = 0 if keys[j] in live else int(np.argmax(alarms[:, j]))
            for i in changed[np.searchsorted(changed, first) :]:
                self.events.setdefault(int(i), []).append((r, int(j)))

    def code(self, r: int, j: int, i: int) -> int:
        """The code of a rule's subject at a row, whether silenced or not."""
        packed = int(self._filled[r][i, j])
        return packed if packed <= ALARM else packed - int(SILENCED)

    def is_silenced(self, key: str, i: int) -> bool:
        """Whether the rule itself says that it is pointless at that row."""
        found = self._where.get(key)
        return found is not None and int(self._filled[found[0]][i, found[1]]) >= SILENCED + UNKNOWN

    def is_known(self, key: str, i: int) -> bool:
        """Whether the row has evidence of its own."""
        r, j = self._where[key]
        return bool(self.conditions[r].known[i, j])

    def known_row(self, key: str, i: int) -> int:
        """The first row from `i` on with evidence of its own; the number of rows if there is none."""
        r, j = self._where[key]
        return self._first(self.conditions[r].known[i:, j], i)

    def low_row(self, key: str, bound_c: float, i: int) -> int:
        """The first row from `i` on with a value at or below the bound."""
        found = self._where.get(key)
        if found is None:
            return len(self._time_s)
        return self._first(self.conditions[found[0]].value_c[i:, found[1]] <= bound_c, i)

    def _first(self, holds: np.ndarray, i: int) -> int:
        return i + int(np.argmax(holds)) if holds.any() else len(self._time_s)

    def delays_s(self, key: str) -> tuple[int, int] | None:
        """On- and off-delay; None for a point no rule of this span looks after."""
        found = self._where.get(key)
        if found is None:
            return None
        condition, j = self.conditions[found[0]], found[1]
        return int(condition.on_delay_s[j]), int(condition.off_delay_s[j])

    def facts(self, key: str, i: int) -> dict[str, object]:
        """What an alarm raised at a row puts on record: value, limit, times foreseen, certainty."""
        found = self._where.get(key)
        if found is None:
            return {}
        condition, j = self.conditions[found[0]], found[1]

        def of(rows: np.ndarray | None) -> float | None:
            return None if rows is None or np.isnan(rows[i, j]) else float(rows[i, j])

        limit, chance = float(condition.limit_c[j]), of(condition.chance)
        facts: dict[str, object] = {
            "value_c": of(condition.value_c),
            "limit_c": None if np.isnan(limit) else limit,
        }
        for name in ("eta_s", "eta_low_s", "eta_high_s"):
            eta = of(getattr(condition, name))
            facts[name] = None if eta is None else round(eta)
        if chance is not None:
            facts["certainty"] = "Likely" if chance >= 0.5 else "Possible"
        return facts

    def begin_peak(self, key: str, i: int) -> None:
        """A crossing begins at a row: its peak is looked for from there on."""
        self._seen[key] = i - 1

    def with_peak(self, standing: Standing, i: int) -> Standing:
        """The point with the rows up to `i` taken into its peak."""
        found = self._where.get(standing.key)
        if found is None or standing.begun_s is None:
            return standing
        condition, j = self.conditions[found[0]], found[1]
        first = self._seen.get(standing.key, -1) + 1
        values = condition.value_c[first : i + 1, j]
        self._seen[standing.key] = max(first - 1, i)
        if not len(values):
            return standing
        sign = KINDS[standing.kind].sign
        best = float((np.fmax if sign > 0 else np.fmin).reduce(values))
        if np.isnan(best) or (standing.peak_c is not None and sign * best <= sign * standing.peak_c):
            return standing
        k = int(np.argmax(values == best))
        return replace(standing, peak_c=best, peak_s=int(self._time_s[first + k]))
