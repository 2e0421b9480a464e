"""A garden written as a garden file: what the demonstration's person would have written."""

from __future__ import annotations

import tomlkit

from propstick.app.garden_file.models import WEEKDAYS
from propstick.garden import Garden, Spot


def garden_sheet(garden: Garden) -> str:
    """The file's text; `garden_file/load.py` reads the same garden from it."""
    document = tomlkit.document()
    document.add(tomlkit.comment("The invented garden of propstick demo."))
    site = garden.site
    document["site"] = {
        "name": site.name, "latitude": site.latitude, "longitude": site.longitude, "zone": site.zone,
        "unit": site.unit,
    }  # fmt: skip
    person = garden.person
    document["person"] = {
        "bed": f"{person.bed:%H:%M}",
        "rises": f"{person.rises:%H:%M}",
        "away_days": [WEEKDAYS[day] for day in sorted(person.away_days)],
    }
    if person.leaves and person.back:
        document["person"].update({"leaves": f"{person.leaves:%H:%M}", "back": f"{person.back:%H:%M}"})
    boxes = tomlkit.aot()
    for box in garden.boxes:
        table = {
            "name": box.name, "floor_m2": box.floor_m2, "glazing": box.glazing, "tilt_deg": box.tilt_deg,
            "faces": box.faces_deg, "lid_kind": box.lid_kind,
        }  # fmt: skip
        if box.spot:
            table["spot"] = box.spot
        boxes.append(tomlkit.item(table))
    document["box"] = boxes
    document["spot"] = _aot([_spot(spot) for spot in garden.spots])
    document["probe"] = _aot(
        [{"id": p.id, "box": p.box, "place": p.place} for p in garden.probes if not p.is_loose]
    )
    document["onewire"] = {"tree": "w1"}
    return tomlkit.dumps(document)


def _aot(tables: list[dict]) -> tomlkit.items.AoT:
    array = tomlkit.aot()
    for table in tables:
        array.append(tomlkit.item(table))
    return array


def _spot(spot: Spot) -> dict:
    obstacles = []
    for obstacle in spot.obstacles:
        table = {
            "bearing_from_deg": obstacle.bearing_from_deg,
            "bearing_to_deg": obstacle.bearing_to_deg,
            "height_deg": obstacle.height_deg,
        }
        if obstacle.leafless_until:
            table["leafless_until"] = "{:02d}-{:02d}".format(*obstacle.leafless_until)
        obstacles.append(table)
    return {"name": spot.name, "obstacles": obstacles}
