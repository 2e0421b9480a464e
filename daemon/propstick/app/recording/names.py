"""Column names of a recording: `<box>.<place>` or `<box>.<place>.<probe>`."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection
from dataclasses import dataclass
from difflib import get_close_matches

from propstick.app.recording.problems import Problems, shown
from propstick.garden import OUTSIDE, PLACES, SITE

COVER = "cover"
KNOWN_PLACES = (*PLACES, COVER)
_BOX = re.compile(r"[a-z0-9-]{1,40}")
_PROBE = re.compile(r"[^\s,;]{1,80}")


@dataclass(frozen=True)
class ColumnName:
    """What a column is about. `text` is its name as a probe id."""

    text: str
    box: str
    place: str
    probe: str | None = None


def column_name(
    text: str, *, known_boxes: Collection[str] | None, problems: Problems, line: int | None, column: str
) -> ColumnName:
    """The parts of a column's name.

    Args:
        known_boxes: Boxes of the garden file; None where every box named is taken.

    Raises:
        InputError: not a name of that form, an unknown place, or a box the garden does not have.
    """
    box, dot, rest = text.partition(".")
    place, _, probe = rest.partition(".")

    def refusal(expected: str, hint: str = "") -> Exception:
        return problems.refusal(shown(text), expected=expected, line=line, column=column, hint=hint)

    if not dot or not _BOX.fullmatch(box) or (rest.count(".") and not _PROBE.fullmatch(probe)):
        hint = ""
        if place in KNOWN_PLACES and not _BOX.fullmatch(box):
            plain = _plain(box)
            hint = "a box is named in letters a to z, figures and hyphens"
            hint += f": {plain}.{rest}" if _BOX.fullmatch(plain) else ""
        raise refusal("<box>.<place> or <box>.<place>.<probe> such as north.air", hint)
    if box == SITE:
        raise refusal("a box or 'outside': 'site' is reserved")
    if place not in KNOWN_PLACES:
        near = get_close_matches(place, KNOWN_PLACES, n=1)
        raise refusal(
            f"one of the places {', '.join(KNOWN_PLACES)}",
            f"did you mean {box}.{near[0]}?" if near else "take the column out of the file",
        )
    if box == OUTSIDE and place in ("lid", COVER):
        raise refusal("no lid or cover outside: the open ground has neither")
    if known_boxes is not None and box != OUTSIDE and box not in known_boxes:
        listed = ", ".join([*known_boxes, OUTSIDE])
        raise refusal(f"one of the garden's boxes: {listed}", "rename the column, or add the box to the file")
    return ColumnName(text, box, place, probe or None)


def _plain(text: str) -> str:
    """A box's name as it could be written: `süd kasten` as `sued-kasten`."""
    for letter, letters in (("ä", "ae"), ("ö", "oe"), ("ü", "ue"), ("ß", "ss"), ("ø", "oe"), ("å", "aa")):
        text = text.lower().replace(letter, letters)
    bare = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    return re.sub(r"[^a-z0-9-]+", "-", bare).strip("-")[:40]
