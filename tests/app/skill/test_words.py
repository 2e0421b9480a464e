"""What is said of the marks."""

from propstick.app.skill.words import sentences

NIGHT = {"forecast": "night minimum, evening brief", "count": 20, "inside_90": 0.85}


def test_no_better_is_said_with_the_name_of_the_plain_method():
    """Those it is better than, and those with too few nights, are not named."""
    said = sentences(
        [
            NIGHT | {"plain": "last night's fall", "is_better": False},
            NIGHT | {"plain": "usual fall", "is_better": True},
            NIGHT | {"plain": "FAO frost equation", "is_better": None},
        ]
    )
    assert said == [
        "night minimum, evening brief: no better than last night's fall.",
        "night intervals of 90 % held 85 % of 20.",
    ]


def test_heat_and_frost_are_counted():
    """Leads, false ones a box and week; frost beside the plain method's yes and no."""
    heat = {
        "forecast": "heat warnings", "warned": 5, "came": 4, "withdrawn": 1, "unwarned": 1, "crossings": 5,
        "lead_minutes_median": 24.0, "warned_10_min": 4, "warned_20_min": 3, "false_per_box_week": 0.5,
    }  # fmt: skip
    frost = {
        "forecast": "frost at 0 °C, evening brief", "is_better": None, "hits": 3, "misses": 1, "false": 2,
        "plain_warning": "last night's fall", "plain_hits": 2, "plain_misses": 2, "plain_false": 0,
    }  # fmt: skip
    assert sentences([frost, heat]) == [
        "frost at 0 °C, evening brief, chance above 0.3: 3 hit, 1 missed, 2 false; "
        "by last night's fall: 2 hit, 2 missed, 0 false.",
        "5 warned of heat: 4 came, 1 withdrawn (0.5 a box and week); of 5 that came 4 were told of "
        "10 min ahead, 3 of them 20; half the leads 24 min or more; 1 came without a warning.",
    ]
