"""The spots in words and in a table: where a box serves best now, and what each spot gives."""

from __future__ import annotations

from calendar import month_name

from propstick.app.season.report import SeasonReport
from propstick.app.season.spots import SpotView
from propstick.growing.emergence import degrees
from propstick.growing.light import LIGHT_HIGH, LIGHT_LOW, SALAD_MOL
from propstick.growing.siting import SpotFacts


def siting_sentences(report: SeasonReport) -> list[str]:
    """Where a box serves best now, why, and what is not known yet."""
    siting = report.siting
    said = [siting.words]
    if siting.unknown:
        said.append(f"Not known yet: {'; '.join(siting.unknown)}.")
    return said


_UNKNOWN = "not known"
_LIGHT_WORDS = (
    "Sun: of a cloudless day now. Hours above: of the last seven days. Light: mol/m² a day, under the glass "
    "where a box stands, the mean of the last ten days from how far the air swung outside; "
    f"{100 * (1 - LIGHT_LOW):.0f} % less to {100 * (LIGHT_HIGH - 1):.0f} % more is likely. "
    f"Salads are advised {SALAD_MOL:.0f} and more."
)


def light_words(report: SeasonReport) -> list[str]:
    """What the figures of the spots' table are; empty where nothing of sun or light is known."""
    return [_LIGHT_WORDS] if any(one.light.lately_mol is not None for one in report.spots) else []


def spot_heads(report: SeasonReport) -> tuple[str, ...]:
    """Heads of the spots' table, with the limits by which all are judged."""
    hot, cold = (
        degrees(one, report.unit) for one in (report.siting.heat_limit_c, report.siting.frost_limit_c)
    )
    return ("Spot", f"Above {hot}", f"Below {cold}", "Sun a day", "Light")


def spot_rows(report: SeasonReport) -> list[tuple[str, ...]]:
    """Every spot in a row: heat and frost first, then sun and light; what is not known says so.

    Empty where nothing at all is known.
    """
    views = {one.spot: one for one in report.spots}
    rows = [
        (
            _spot_text(facts),
            _heat_text(facts),
            _frost_text(facts),
            _UNKNOWN if facts.sun_h is None else f"{facts.sun_h:.1f} h",
            _light_text(views.get(facts.spot)),
        )
        for facts in report.siting.spots
    ]
    return rows if any(set(row[1:]) != {_UNKNOWN} for row in rows) else []


def _spot_text(facts: SpotFacts) -> str:
    """`wall (north)`; the place of a box without a spot is named by the box already."""
    if not facts.is_named and any(facts.spot.startswith(f"{box}'s") for box in facts.boxes):
        return facts.spot
    return f"{facts.spot} ({', '.join(facts.boxes) or 'no box'})"


def _light_text(view: SpotView | None) -> str:
    if view is None or view.light.lately_mol is None:
        return _UNKNOWN
    return f"{view.light.lately_mol:.0f} mol"


def _heat_text(facts: SpotFacts) -> str:
    if facts.hot_hours is None:
        return _UNKNOWN
    if facts.hot_hours == 0:
        return "none"
    return f"{facts.hot_hours} h, {'overheats' if facts.overheats else 'bearable'}"


def _frost_text(facts: SpotFacts) -> str:
    if facts.frost_nights is None:
        return _UNKNOWN
    return f"{facts.frost_nights or 'none'} of {facts.nights} nights"


def spot_sentence(one: SpotView, month: int) -> str:
    """Sun now and, where something stands before it, in the months to come: trees leaf, the sun climbs.

    Empty for an open spot: its row says it all.
    """
    coming = [(month + k - 1) % 12 + 1 for k in (1, 2, 3)]
    changes = one.today.sun_h < one.today.open_sun_h or any(
        one.by_month[m].sun_h < one.by_month[m].open_sun_h for m in coming
    )
    if not changes and one.loose is None:
        return ""
    said = (
        f"Spot {one.spot}: {one.today.sun_h:.1f} h of sun on a cloudless day now, of "
        f"{one.today.open_sun_h:.1f} h in the open"
    )
    if changes:
        hours = ", ".join(f"{one.by_month[m].sun_h:.1f} in mid-{month_name[m]}" for m in coming)
        said += f"; {hours}"
    if one.loose is not None:
        said += f". A loose probe there: {one.loose.words}"
    return f"{said}."
