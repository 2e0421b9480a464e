"""`propstick sow`: what was sown where, and the dates seen since. Nothing is deleted, all can be undone."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from contextlib import suppress
from datetime import date, timedelta
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any

from propstick.app.commands._shared import add_json, print_json, settings_of
from propstick.app.commands._sow_shown import SEEN, history, listed, sentence
from propstick.app.store import store_of
from propstick.errors import InputError
from propstick.garden import OUTSIDE

if TYPE_CHECKING:
    from propstick.app.garden_file.settings import Settings
    from propstick.edges.sowings import Sowings, StoredSowing

OTHERS = ("list", "sown", "box", "crop", "gave", "note", "undo", "remove", "history")
RECENT_D = 400
"""Days back that are taken without asking: last spring's. Older ones are mostly slips in the year."""
FIRST_DAY = date(2000, 1, 1)
"""As the API has it."""


def configure(parser: argparse.ArgumentParser) -> None:
    """Adds the command's options."""
    parser.usage = "propstick sow CROP BOX [DATE] [--note TEXT], or propstick sow WORD [ID] [DATE or TEXT]"
    parser.epilog = (
        "  propstick sow rocket north               today, in a box or outside\n"
        "  propstick sow spinach lane 2026-03-01 --note 'two rows'\n"
        "  propstick sow list                       every batch, with its number\n"
        "  propstick sow up 3                       batch 3 came up today; or give the day\n"
        "  propstick sow half-up 3 2026-03-09       also: flowering, first-pick, cleared\n"
        "  propstick sow up 3 none                  it is not up after all: empties the day\n"
        "  propstick sow sown 3 2026-03-02          puts the day of sowing right; also: box 3 lane,\n"
        "                                           crop 3 rocket\n"
        "  propstick sow gave 3 '340 g'             what it gave, a weight or words\n"
        "  propstick sow note 3 'thin it'\n"
        "  propstick sow undo 3                     takes back the last change of batch 3\n"
        "  propstick sow remove 3                   marks batch 3 as a mistake; undo puts it back\n"
        "  propstick sow history 3                  every change, with who made it\n"
    )
    parser.add_argument("words", metavar="WORD", nargs="+", help="see the examples below")
    parser.add_argument("--note", metavar="TEXT", default="", help="a note on the batch (default: none)")
    parser.add_argument(
        "--unlisted",
        action="store_true",
        help="take a crop no file knows: its frost limit is that of an unknown crop, and nothing is foretold",
    )
    parser.add_argument(
        "--old",
        action="store_true",
        help=f"take a day more than {RECENT_D} days back (default: refuse it as a slip in the year)",
    )
    parser.add_argument(
        "--all", action="store_true", help="with list: also batches taken back (default: those that count)"
    )
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Runs the command."""
    from propstick.edges.clock import SystemClock
    from propstick.edges.sowings import Sowings
    from propstick.times import local_date

    settings = settings_of(args, probes_required=False)
    today = local_date(SystemClock().wall_s(), settings.garden.site.zone)
    with store_of(settings) as store:
        sowings = Sowings(store, settings.garden.site.name)
        word, *rest = args.words
        if word == "list":
            _too_many(rest, 0, "sow list")
            return listed(sowings, as_json=args.json, removed=args.all)
        if word == "history":
            return history(sowings, _number(rest, word), as_json=args.json)
        done = (
            _changed(sowings, settings, word, rest, today, is_old=args.old)
            if word in SEEN or word in OTHERS
            else _sown(sowings, settings, args, today)
        )
    if args.json:
        print_json(done.to_json())
    else:
        print(sentence(done))
    return 0


def day_of(text: str | None, today: date, *, is_old: bool = False) -> date:
    """A day as people write it: nothing, `today`, `yesterday`, or 2026-03-15; never one to come.

    Args:
        is_old: Whether a day long ago is meant.

    Raises:
        InputError: anything else.
    """
    if text is None or text == "today":
        return today
    if text == "yesterday":
        return today - timedelta(days=1)
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise InputError(f"day: got {text!r}, expected one such as {today}, or today, or yesterday") from None
    if day > today:
        raise InputError(
            f"day: got {day}, which is still to come, expected {today} or earlier",
            hint="write it down on the day; propstick season says when to sow next",
        )
    if day < FIRST_DAY:
        raise InputError(f"day: got {day}, expected {FIRST_DAY} or later", hint=_did_you_mean(day, today))
    if not is_old and (today - day).days > RECENT_D:
        raise InputError(
            f"day: got {day}, which is {(today - day).days} days ago, expected one of the last {RECENT_D}",
            hint=f"{_did_you_mean(day, today)} Or say --old if it is meant",
        )
    return day


def _did_you_mean(day: date, today: date) -> str:
    """The same day in the latest year that had it."""
    for year in range(today.year, today.year - 9, -1):
        with suppress(ValueError):  # 29 February
            if (near := day.replace(year=year)) <= today:
                return f"did you mean {near}?"
    return ""


def _sown(sowings: Sowings, settings: Settings, args: argparse.Namespace, today: date) -> StoredSowing:
    if len(args.words) < 2:
        raise InputError(
            f"sow: got {args.words[0]!r} alone, expected a crop and a box", hint="propstick sow --help"
        )
    crop, box, *rest = args.words
    _too_many(rest, 1, "sow CROP BOX")
    names = (*settings.garden.box_names, OUTSIDE)
    if box not in names and box.isdigit():
        near = get_close_matches(crop, (*SEEN, *OTHERS), n=1)
        tail = f"; the nearest is {near[0]}" if near else ""
        words = ", ".join((*SEEN, *OTHERS))
        raise InputError(
            f"sow: got {crop!r} before the number of a batch, expected one of {words}{tail}",
            hint=f"propstick sow {near[0]} {box}" if near else "propstick sow --help",
        )
    box = _box(settings, box)
    if not args.unlisted:
        crop = _crop(settings, crop)
    sown = day_of(rest[0] if rest else None, today, is_old=args.old)
    return sowings.add({"crop": crop, "box": box, "sown": sown, "note": args.note}, by="command")


def _box(settings: Settings, box: str) -> str:
    names = (*settings.garden.box_names, OUTSIDE)
    if box not in names:
        raise InputError(f"sow: got box {box!r}, expected one of {', '.join(names)}")
    return box


def _crop(settings: Settings, crop: str) -> str:
    """The crop under the name of the table."""
    from propstick.app.season.crop_book import OWN_FILE, crops_beside
    from propstick.growing.crops import find

    try:
        return find(crops_beside(settings.path), crop).name
    except InputError as error:
        hint = f"a crop no file knows: --unlisted, or describe it in {OWN_FILE} beside the garden file"
        raise InputError(error.message, hint=hint) from None


def _changed(
    sowings: Sowings, settings: Settings, word: str, rest: Sequence[str], today: date, *, is_old: bool
) -> StoredSowing:
    number = _number(rest, word)
    if word == "undo":
        _too_many(rest, 1, "sow undo")
        return undo(sowings, number)
    if word == "remove":
        _too_many(rest, 1, "sow remove")
        return sowings.remove(number, by="command")
    _too_many(rest, 2, f"sow {word}")
    if word in SEEN and rest[1:] == ["none"]:
        return sowings.change(number, {SEEN[word]: None}, by="command")
    if word in SEEN:
        day = day_of(rest[1] if len(rest) > 1 else None, today, is_old=is_old)
        return sowings.change(number, {SEEN[word]: day}, by="command")
    if len(rest) < 2:
        raise InputError(f"sow {word} {number}: got nothing, expected a text", hint="put it in quotes")
    if word == "sown":
        fields: dict[str, Any] = {"sown": day_of(rest[1], today, is_old=is_old)}
    elif word == "box":
        fields = {"box": _box(settings, rest[1])}
    elif word == "crop":
        fields = {"crop": _crop(settings, rest[1])}
    else:
        fields = {"note": rest[1]} if word == "note" else yield_of(rest[1])
    return sowings.change(number, fields, by="command")


def yield_of(text: str) -> dict[str, Any]:
    """What a batch gave: a weight such as `340 g` or `1.2 kg`, or any words."""
    amount, _, unit = text.strip().replace(",", ".").rpartition(" ")
    if not amount:  # 340g
        head = text.strip().rstrip("kg")
        amount, unit = head, text.strip()[len(head) :]
    factor = {"g": 1.0, "kg": 1000.0}.get(unit)
    try:
        return {"yield_g": round(float(amount) * factor)} if factor else {"yield_note": text}
    except ValueError:
        return {"yield_note": text}


def undo(sowings: Sowings, number: int) -> StoredSowing:
    """Takes back the last change of a sowing; the writing down itself by marking it removed.

    Twice in a row it is as before: an undoing is a change too.

    Raises:
        InputError: no such sowing.
    """
    changes = sowings.history(number)
    if len(changes) <= 1:
        return sowings.remove(number, by="command")
    before = {name: old for name, (old, _) in changes[-1].fields.items()}
    if "removed_s" in before:
        taken_back = before["removed_s"] is not None
        return sowings.remove(number, by="command") if taken_back else sowings.put_back(number, by="command")
    return sowings.change(number, before, by="command")


def _number(rest: Sequence[str], word: str) -> int:
    try:
        return int(rest[0])
    except (IndexError, ValueError):
        got = repr(rest[0]) if rest else "nothing"
        raise InputError(
            f"sow {word}: got {got}, expected the number of a batch", hint="propstick sow list"
        ) from None


def _too_many(rest: Sequence[str], most: int, what: str) -> None:
    if len(rest) > most:
        raise InputError(
            f"{what}: got {rest[most]!r} too, expected no more words", hint="propstick sow --help"
        )
