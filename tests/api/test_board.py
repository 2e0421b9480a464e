"""How much room is left to a limit."""

import pytest

from propstick_api.board import _room_to


@pytest.mark.parametrize(
    ("limit", "air", "rise", "above", "room"),
    [
        (27.0, 22.0, 6.0, True, {"c": 5.0, "minutes": 50}),  # 5 °C at 6 °C an hour
        (27.0, 22.0, -6.0, True, {"c": 5.0, "minutes": None}),  # away from it
        (27.0, 22.0, None, True, {"c": 5.0, "minutes": None}),
        (27.0, 22.0, 0.1, True, {"c": 5.0, "minutes": None}),  # 50 hours: a slope does not tell
        (27.0, 28.0, 6.0, True, {"c": -1.0, "minutes": 0}),
        (1.0, 4.0, -2.0, False, {"c": 3.0, "minutes": 90}),
        (1.0, 0.5, 2.0, False, {"c": -0.5, "minutes": 0}),
        (None, 22.0, 6.0, True, {"c": None, "minutes": None}),
        (27.0, None, 6.0, True, {"c": None, "minutes": None}),
    ],
)
def test_room_is_degrees_and_minutes_towards_a_limit(limit, air, rise, above, room):
    """Distance over slope, where it leads there within three hours."""
    assert _room_to(limit, air, rise, is_above=above) == room
