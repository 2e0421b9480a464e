"""What the demonstration shows: a live table on a terminal, plain lines where output is piped."""

from __future__ import annotations

import shutil
import sys
import textwrap
from collections import deque
from typing import TextIO

from propstick.engine.pipeline import EngineState
from propstick.garden import OUTSIDE, Garden
from propstick.records import AlarmChange, BoxNow, Outcome, Reading
from propstick.times import clock_text, local
from propstick.units import shown

LINES = 14
"""Lines of what happened that stay on the screen."""
QUIET_EVERY_S = 3600
"""Without a terminal the table is printed once an hour of the garden's time."""
_HOME, _CLEAR_LINE, _CLEAR_BELOW = "\x1b[H", "\x1b[K", "\x1b[J"
_HIDE, _SHOW, _CLEAR = "\x1b[?25l", "\x1b[?25h", "\x1b[2J"
_WORDS = {
    "raised": "alarm", "returned": "over", "acknowledged": "seen", "updated": "", "suppressed": "",
    "unsuppressed": "",
}  # fmt: skip


class Screen:
    """Draws after every row.

    Args:
        garden: For names, unit and clock.
        heading: A line that stays on top: where the page is, how to end.
    """

    def __init__(self, garden: Garden, heading: str, *, out: TextIO | None = None) -> None:
        self._garden = garden
        self._heading = heading
        self._out = out or sys.stdout
        self._is_live = self._out.isatty()
        self._happened: deque[str] = deque(maxlen=LINES)
        self._last_table_s = 0
        if self._is_live:
            self._out.write(_HIDE + _CLEAR)
        else:
            self._out.write(heading + "\n")

    def on_row(
        self, row_s: int, state: EngineState, outcome: Outcome, _readings: tuple[Reading, ...]
    ) -> None:
        """Takes in a row and shows it."""
        fresh = [line for change in outcome.changes if (line := self._change_line(change))]
        for notice in outcome.notices:
            fresh.append(self._stamped(row_s, f"PUSH to {notice.to}: {notice.text}"))
        for brief in outcome.briefs:
            fresh.append(self._stamped(row_s, f"{brief.which.upper()} BRIEF: {brief.text}"))
        if self._is_live:
            for line in fresh:
                self._happened.extend(textwrap.wrap(line, self._width(), subsequent_indent=" " * 11))
            self._draw(row_s, state, outcome.now)
            return
        for line in fresh:
            self._out.write(line + "\n")
        if row_s - self._last_table_s >= QUIET_EVERY_S:
            self._last_table_s = row_s
            self._out.write("\n".join(self._table(row_s, state, outcome.now)) + "\n")
        self._out.flush()

    def close(self) -> None:
        """Gives the terminal back."""
        if self._is_live:
            self._out.write(_SHOW + "\n")
        self._out.flush()

    def _draw(self, row_s: int, state: EngineState, boxes: tuple[BoxNow, ...]) -> None:
        lines = [self._heading, "", *self._table(row_s, state, boxes), "", *self._happened]
        width = self._width()
        body = "\n".join(line[:width] + _CLEAR_LINE for line in lines)
        self._out.write(_HOME + body + _CLEAR_BELOW)
        self._out.flush()

    def _table(self, row_s: int, state: EngineState, boxes: tuple[BoxNow, ...]) -> list[str]:
        lines = [
            f"{local(row_s, self._garden.site.zone):%a %d %b} {self._clock(row_s)}",
            f"{'box':<10}{'air':>8}{'per h':>8}{'soil':>8}  {'lid':<9}{'cover':<7}open alarms",
        ]
        for now in boxes:
            kinds = [
                alarm.kind if alarm.state != "shelved" else f"({alarm.kind})"
                for alarm in state.open_alarms
                if alarm.box == now.box and alarm.state not in ("normal", "suppressed")
            ]
            is_box = now.box != OUTSIDE
            lines.append(
                f"{now.box:<10}{self._degrees(now.air_c):>8}{self._rise(now.rise_c_per_h):>8}"
                f"{self._degrees(now.soil_c):>8}  {_lid_word(now.lid) if is_box else '':<9}"
                f"{('on' if now.cover else '-') if is_box else '':<7}{', '.join(kinds) or '-'}"
            )
        return lines

    def _change_line(self, change: AlarmChange) -> str:
        word = _WORDS.get(change.event, change.event)
        alarm = change.alarm
        if not word:
            return ""
        what = alarm.message if change.event == "raised" else f"{alarm.kind} in {alarm.box}"
        return self._stamped(change.time_s, f"{word}: {what}")

    def _stamped(self, time_s: int, text: str) -> str:
        return f"{local(time_s, self._garden.site.zone):%a} {self._clock(time_s)}  {text}"

    def _clock(self, time_s: int) -> str:
        return clock_text(time_s, self._garden.site.zone, twelve_hour=self._garden.twelve_hour)

    def _degrees(self, value_c: float | None) -> str:
        unit = self._garden.site.unit
        return "-" if value_c is None else f"{shown(value_c, unit):.1f} °{unit}"

    def _rise(self, rise_c: float | None) -> str:
        if rise_c is None:
            return "-"
        return f"{rise_c * (1.8 if self._garden.site.unit == 'F' else 1.0):+.1f}"

    def _width(self) -> int:
        return min(100, shutil.get_terminal_size((80, 24)).columns)


def _lid_word(opening: float | None) -> str:
    if opening is None:
        return "unknown"
    if opening <= 0.0:
        return "closed"
    return "open" if opening >= 1.0 else f"{opening:.0%} open"
