"""The crop table against what was published, typed again here from the reprint."""

from importlib.resources import files

import pytest

from propstick.errors import InputError
from propstick.growing.crops import crop_table, find, known

# Harrington & Minges 1954, Vegetable Seed Germination, Univ. of California leaflet, as reprinted in
# Knott's Handbook: days from sowing to emergence, seed 13 mm deep, at 0, 5, 10 ... 35 °C.
# None: came up at no time; "-": not tested.
NONE, UNTESTED = None, "-"
HARRINGTON_MINGES_1954 = {
    "beet": ("-", 42, 17, 10, 6, 5, 5, 5),
    "cabbage": ("-", "-", 15, 9, 6, 5, 4, "-"),
    "carrot": (None, 51, 17, 10, 7, 6, 6, 9),
    "cauliflower": ("-", "-", 20, 10, 6, 5, 5, "-"),
    "celery": (None, 41, 16, 12, 7, None, None, None),
    "lettuce": (49, 15, 7, 4, 3, 2, 3, None),
    "onion": (136, 31, 13, 7, 5, 4, 4, 13),
    "parsley": ("-", "-", 29, 17, 14, 13, 12, "-"),
    "parsnip": (172, 57, 27, 19, 14, 15, 32, None),
    "pea": ("-", 36, 14, 9, 8, 6, 6, "-"),
    "radish": (None, 29, 11, 6, 4, 4, 3, "-"),
    "spinach": (63, 23, 12, 7, 6, 5, 6, None),
    "turnip": (None, None, 5, 3, 2, 1, 1, 1),
}
SOIL_C = (0, 5, 10, 15, 20, 25, 30, 35)

# Table 2 of PMC10202904: where frost damage begins, the mild end of its range.
DAMAGE_BEGINS_C = {
    "lettuce": -2, "pea": -2, "kale": -4, "cabbage": -4, "broccoli": -4, "cauliflower": -4,
    "onion": -4, "carrot": -4, "parsnip": -4, "beet": -4, "spinach": -7,
}  # fmt: skip


@pytest.fixture(scope="module")
def crops():
    return crop_table(files("propstick.growing").joinpath("crops.toml").read_text("utf-8"))


@pytest.mark.parametrize("name", HARRINGTON_MINGES_1954)
def test_emergence_is_as_published(crops, name):
    """Every cell of the published table: the days, that nothing came, or that nobody tried."""
    emergence = crops[name].emergence
    ours = dict(zip(emergence.soil_c, emergence.days, strict=True))
    for soil_c, published in zip(SOIL_C, HARRINGTON_MINGES_1954[name], strict=True):
        assert (soil_c in emergence.none_at_c) == (published is NONE)
        if published in (NONE, UNTESTED):
            assert soil_c not in ours
        else:
            assert ours[soil_c] == published


@pytest.mark.parametrize("name", HARRINGTON_MINGES_1954)
def test_soil_limits_lie_where_seedlings_came(crops, name):
    """Cold limit: the first published temperature with seedlings. Hot limit: not above the last."""
    came = [t for t, d in zip(SOIL_C, HARRINGTON_MINGES_1954[name], strict=True) if d not in (NONE, UNTESTED)]
    assert crops[name].limits.soil_cold_c == came[0]
    nothing_came = [
        t for t, d in zip(SOIL_C, HARRINGTON_MINGES_1954[name], strict=True) if d is NONE and t > came[-1]
    ]
    assert not nothing_came or crops[name].limits.soil_hot_c < nothing_came[0]


@pytest.mark.parametrize("name", list(HARRINGTON_MINGES_1954))
def test_thermal_time_follows_the_table(crops, name):
    """θ / (T - base) is within a quarter of the published days between 10 and 20 °C."""
    emergence = crops[name].emergence
    for soil_c, days in zip(SOIL_C[2:5], HARRINGTON_MINGES_1954[name][2:5], strict=True):
        predicted = emergence.theta_c_d / (soil_c - emergence.base_c)
        assert 0.75 < predicted / days < 1.25


@pytest.mark.parametrize("name", DAMAGE_BEGINS_C)
def test_frost_limits_warn_before_damage(crops, name):
    """Every frost limit lies at least 2 °C above where damage is published to begin."""
    assert crops[name].limits.frost_c >= DAMAGE_BEGINS_C[name] + 2


def test_frost_limits_keep_the_order_of_hardiness(crops):
    """Lettuce and pea before cabbage and its kin, those before spinach (PMC10202904, Table 2)."""
    frost_c = {name: crop.limits.frost_c for name, crop in crops.items()}
    assert frost_c["lettuce"] == frost_c["pea"] > frost_c["kale"] == frost_c["cabbage"] > frost_c["spinach"]


def test_relatives_lend_their_table_and_say_so(crops):
    """A crop without a table of its own names whose it uses."""
    for name in ("rocket", "pak-choi", "cress", "mustard", "broccoli-rabe"):
        assert crops[name].by_kinship == "radish"
        assert crops[name].emergence == crops["radish"].emergence
    assert crops["kale"].emergence == crops["cabbage"].emergence
    assert crops["radish"].by_kinship is None


def test_every_figure_has_a_source(crops):
    for crop in crops.values():
        assert crop.sources["emergence"]
        assert crop.limits.frost_c is None or crop.sources["frost"]
        assert crop.sources["soil"]


@pytest.mark.parametrize(
    ("word", "name"), [("Bok choy", "pak-choi"), ("ARUGULA", "rocket"), ("broccoli rabe", "broccoli-rabe")]
)
def test_find_knows_other_names(crops, word, name):
    assert find(crops, word).name == name


def test_a_crop_without_figures_is_no_error_to_who_goes_on_without(crops):
    assert known(crops, "ARUGULA") is find(crops, "rocket")
    assert known(crops, "letuce") is None


def test_find_names_the_nearest(crops):
    with pytest.raises(InputError, match="the nearest is lettuce"):
        find(crops, "letuce")


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("[kale]\nfrost_c = -2", "sources"),
        ("[kale]\nfrosty = 1\nsources = {a = 'b'}", "frosty"),
        ("[kale]\nfrost_c = 30\nsources = {a = 'b'}", "-20 to 10"),
        ("[kale]\nby_kinship = 'cabage'\nsources = {a = 'b'}", "cabage"),
        ("[kale]\nalso = ['kale']\nsources = {a = 'b'}", "more than once"),
        ("[kale]\nsources = {a = 'b'}\n[kale.emergence]\ndays = {'10' = -1}", "days at 10"),
        ("[kale", "not TOML"),
    ],
)
def test_a_bad_table_is_refused(text, complaint):
    with pytest.raises(InputError, match=complaint):
        crop_table(text)
