"""What the marks come to, in sentences; degrees and figures stand in the table beside them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

SHORT = {
    "last night's minimum": "last minimum",
    "last night's fall": "last fall",
    "mean of earlier nights": "earlier mean",
    "FAO frost equation": "FAO equation",
    "share of nights before": "share before",
    "the day before's maximum": "day before",
    "mean of ten days": "ten-day mean",
}
"""Plain methods where a column is narrow."""


def sentences(skill: Sequence[dict[str, Any]]) -> list[str]:
    """No better than the plain method, intervals, frost told of, and the warnings counted."""
    return [*_no_better(skill), *_intervals(skill), *(text for one in skill for text in _counted(one))]


def _no_better(skill: Sequence[dict[str, Any]]) -> list[str]:
    worse: dict[str, list[str]] = {}
    for one in skill:
        if one.get("is_better") is False:
            worse.setdefault(one["forecast"], []).append(one["plain"])
    return [f"{name}: no better than {' or '.join(plain)}." for name, plain in worse.items()]


def _intervals(skill: Sequence[dict[str, Any]]) -> list[str]:
    found = {one["forecast"]: one for one in skill if one.get("inside_90") is not None}
    held = {kind: [one for name, one in found.items() if name.startswith(kind)] for kind in ("night", "day")}
    texts = []
    for kind, rows in held.items():
        count = sum(one["count"] for one in rows)
        if count:
            share = sum(one["inside_90"] * one["count"] for one in rows) / count
            texts.append(f"{kind} intervals of 90 % held {100 * share:.0f} % of {count}.")
    return texts


def _counted(one: dict[str, Any]) -> list[str]:
    if "hits" in one:
        text = f"{one['forecast']}, chance above 0.3: {_yes_no(one, '')}"
        return [f"{text}; by {one['plain_warning']}: {_yes_no(one, 'plain_')}."]
    if one["forecast"] not in ("heat warnings", "frost warnings"):
        return []
    kind = one["forecast"].removesuffix(" warnings")
    text = f"{one['warned']} warned of {kind}: {one['came']} came, {one['withdrawn']} withdrawn"
    if one.get("false_per_box_week") is not None:
        text += f" ({one['false_per_box_week']:.1f} a box and week)"
    if one.get("crossings"):
        text += (
            f"; of {one['crossings']} that came {one['warned_10_min']} were told of 10 min ahead, "
            f"{one['warned_20_min']} of them 20"
        )
    if one.get("lead_minutes_median") is not None:
        text += f"; half the leads {one['lead_minutes_median']:.0f} min or more"
    if one["unwarned"]:
        text += f"; {one['unwarned']} came without a warning"
    return [text + "."]


def _yes_no(one: dict[str, Any], which: str) -> str:
    return f"{one[which + 'hits']} hit, {one[which + 'misses']} missed, {one[which + 'false']} false"
