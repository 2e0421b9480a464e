"""How `propstick sow` shows batches: the list, the history, and a batch in a sentence."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

from propstick.app.commands._shared import print_json, print_table
from propstick.errors import InputError

if TYPE_CHECKING:
    from propstick.edges.sowings import Sowings, StoredSowing

SEEN = {
    "up": "first_up",
    "half-up": "half_up",
    "flowering": "flowering",
    "first-pick": "first_pick",
    "cleared": "cleared",
}
"""Word of the command → field of a sowing."""


def listed(sowings: Sowings, *, as_json: bool, removed: bool) -> int:
    """Prints every batch as a table, or as data."""
    found = sowings.all(removed=removed)
    if as_json:
        print_json([one.to_json() for one in found])
        return 0
    if not found:
        print("Nothing sown yet. propstick sow CROP BOX writes the first batch down.")
        return 0
    print_table(
        ("ID", "CROP", "BOX", "SOWN", "UP", "PICKED", "CLEARED", "NOTE"),
        [
            (
                str(one.id), one.crop[:14], one.box[:10], _short(one.sown), _short(one.first_up),
                _short(one.first_pick), _short(one.cleared),
                ("taken back" if one.removed_s is not None else one.note)[:18],
            )
            for one in found
        ],
    )  # fmt: skip
    return 0


def history(sowings: Sowings, number: int, *, as_json: bool) -> int:
    """Prints every change of a batch.

    Raises:
        InputError: there is no such batch.
    """
    from propstick.times import utc_text

    if sowings.get(number) is None:
        raise InputError(f"sowing {number}: there is none", hint="propstick sow list")
    changes = sowings.history(number)
    if as_json:
        print_json([{"time": utc_text(c.time_s), "by": c.by, "fields": c.fields} for c in changes])
        return 0
    for change in changes:
        steps = ", ".join(_step(name, old, new) for name, (old, new) in change.fields.items())
        print(f"{utc_text(change.time_s)}  {change.by}: {steps}")
    return 0


def _step(name: str, old: Any, new: Any) -> str:
    if name == "removed_s":
        return "taken back" if new is not None else "put back"
    return f"{name} {'-' if old in (None, '') else old} → {'-' if new in (None, '') else new}"


def _short(day: date | None) -> str:
    return "-" if day is None else f"{day:%Y-%m-%d}"


def sentence(sowing: StoredSowing) -> str:
    """The batch as it now stands."""
    seen = {word: getattr(sowing, field) for word, field in SEEN.items()}
    dates = "".join(f", {word} {day}" for word, day in seen.items() if day is not None)
    gave = f", gave {sowing.yield_g} g" if sowing.yield_g is not None else ""
    gave += f", gave {sowing.yield_note}" if sowing.yield_note else ""
    sown = f"sown {sowing.sown}" if sowing.sown else "no day of sowing"
    back = " Taken back; propstick sow undo puts it back." if sowing.removed_s is not None else ""
    return f"Batch {sowing.id}: {sowing.crop} in {sowing.box}, {sown}{dates}{gave}.{back}"
