"""Every fault of a garden file is named where it stands."""

import pytest
from tests.app.garden_file.garden_text import GOOD, LOOSE


def line_of(text, part):
    return next(k for k, line in enumerate(text.splitlines(), 1) if part in line)


# Faults: (text added, where its line is found, what the message must say)
FAULTS = [
    ("[alarms]\nheat_C = 30\n", "heat_C", ["key heat_C", "got 30", "the nearest is heat_c"]),
    ("[alarms]\nheat_f = 27\n", "heat_f", ["got 27 °F", "expected 50 to 122 °F"]),
    ("[alarms]\nheat_c = 80\n", "heat_c", ["got 80 °C", "expected 10 to 50 °C"]),
    ("[alarms]\nheat_c = 26\nheat_f = 79\n", "heat_f", ["heat_c = 26 and heat_f = 79", "one of"]),
    ('[alarms]\nheat_c = "26"\n', "heat_c", ["got '26'", "a number without quotes"]),
    ("[alarms]\nheat_c = nan\n", "heat_c", ["got nan", "10 to 50 °C"]),
    ("[alarms]\non_delay_s = 1.5\n", "on_delay_s", ["got 1.5", "whole number"]),
    ("[alarms]\nprop_c = 30\n", "prop_c", ["prop_c 30 above heat_c 27"]),
    ("[alarm]\nheat_c = 26\n", "[alarm]", ["key alarm", "the nearest is alarms"]),
    ('[[bxo]]\nname = "south"\n', "[[bxo]]", ["key bxo", "the nearest is box"]),
    ('[spot]\nname = "wall"\n', "[spot]", ["[[spot]], with two brackets"]),
    ("[watch]\nstep_s = 1\n", "step_s", ["got 1 seconds", "expected 2 to 300 seconds"]),
    ('[person]\nleaves = "25:00"\nback = "17:00"\n', "leaves", ["got '25:00'", "time of day"]),
    ('[person]\nleaves = "08:00"\n', "leaves", ["leaves alone", "leaves and back"]),
    ('[person]\naway_days = ["monday"]\n', "away_days", ["got 'monday'", "the nearest is mon"]),
    ('[person]\nhelper = "sue"\n', "helper", ["got 'sue'", "[push] urls"]),
    ('[[probe]]\nid = "28-000000000001"\nbox = "nort"\nplace = "air"\n', '"nort"',
     ["got 'nort'", "north, outside", "the nearest is north"]),
    ('[[probe]]\nid = "28-000000000001"\nbox = "north"\nplace = "sol"\n', '"sol"', ["the nearest is soil"]),
    ('[[probe]]\nid = "28-000000000001"\nbox = "north"\n', None, ["key place", "got nothing", "to be set"]),
    ('[[probe]]\nid = "28-3c01b556e1a2"\nbox = "outside"\nplace = "air"\n', None,
     ["outside air, on line 11 north air", "a probe in one place"]),
    ('[[box]]\nname = "outside"\n', None, ["'outside' is reserved"]),
    ('[[box]]\nname = "South"\n', None, ["got 'South'", "small letters"]),
    ('[[box]]\nname = "north"\n', None, ["'north', already on line 8", "each box once"]),
    ('[push]\nurls = ["phone"]\n', "urls", ["got 'phone'", "begins with its kind"]),
    ('[push]\nurls = [{ name = "a" }]\n', "urls", ["one of url and url_file"]),
    ('[push]\nquiet_from = "22:00"\n', "quiet_from", ["quiet_from alone"]),
    ("[store]\nkeep_days = -1\n", "keep_days", ["got -1", "0 to 36500"]),
]  # fmt: skip


@pytest.mark.parametrize(("added", "mark", "words"), FAULTS)
def test_a_fault_is_named_with_file_line_key_found_and_expected(refused, added, mark, words):
    error = refused(added)
    for word in words:
        assert word in error.message
    if mark is not None:
        assert f"garden.toml:{line_of(GOOD + added, mark)}: " in error.message
    assert len(error.message.splitlines()) == 1
    assert error.hint


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("52.35", "142.35"), ["garden.toml:3: [site], key latitude", "got 142.35", "-90 to 90"]),
        (("longitude = -6.46\n", ""), ["latitude alone", "latitude and longitude"]),
        (("Europe/Dublin", "Europe/Dublim"), ["garden.toml:5", "got 'Europe/Dublim'", "IANA"]),
        (('zone = "Europe/Dublin"\n', ""), ["a position without zone"]),
        (('"lane"', '"Lane Garden"'), ["garden.toml:2", "small letters"]),
        (('"28-3c01b556e1a2"', '"28 3c"'), ["garden.toml:11", "without spaces"]),
    ],
)
def test_faults_in_what_stands_already(refused, change, words):
    error = refused(change=change)
    for word in words:
        assert word in error.message


def test_a_wrong_unit_gets_a_hint(refused):
    assert "heat_c = 27" in refused("[alarms]\nheat_f = 27\n").hint
    assert "heat_f = 80" in refused("[alarms]\nheat_c = 80\n").hint


def test_every_fault_is_told_at_once_in_the_order_of_the_file(refused):
    added = (
        '[[probe]]\nid = "28-3c01b556e1a2"\nbox = "nort"\nplace = "soil"\n'
        "[alarms]\nheet_c = 26\nfrost_c = 50\n[watch]\nstep_s = 1\n"
    )
    lines = refused(added, change=("52.35", "95")).message.splitlines()
    numbers = [int(line.split(":")[1]) for line in lines]
    assert len(lines) == 6  # latitude, doubled probe, unknown box, heet_c, frost_c, step_s
    assert numbers == sorted(numbers)


def test_a_text_that_is_not_toml_names_the_line(refused):
    assert "garden.toml:14, column" in refused("[alarms\n").message


def test_keys_in_inline_tables_have_their_line(refused):
    inner = "{ bearing_from_deg = 1, bearing_to_deg = 2, heigth_deg = 3 }"
    added = f'[[spot]]\nname = "wall"\nobstacles = [\n  {inner},\n]\n'
    error = refused(added)
    assert f"garden.toml:{line_of(GOOD + added, 'heigth')}" in error.message
    assert "the nearest is height_deg" in error.message
    assert len(error.message.splitlines()) == 1


@pytest.mark.parametrize(
    "added",
    [
        '[watch]\nheartbeat_ulr = "https://hunter2@host/x"\n',
        '[mqtt]\npassword = "hunter2"\n',
        '[push]\nurls = ["mailto:me:hunter2@host"]\n',
    ],
)
def test_what_may_be_a_secret_is_not_shown_in_an_error(refused, added):
    assert "hunter2" not in str(refused(added))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (('spot = "lane"', 'spot = "lnae"'), "expected a [[spot]]: lane; the nearest is lane"),
        (('spot = "lane"\n', ""), "key box: got nothing, expected box, or for a probe without a box spot"),
        (('spot = "lane"', 'spot = "lane"\nbox = "north"'), "key box: got box and spot"),
        (('place = "air"', 'place = "soil"'), "key place: got 'soil', expected air"),
    ],
)  # fmt: skip
def test_a_loose_probe_told_wrongly_is_named(refused, change, said):
    assert said in refused(LOOSE.replace(*change)).message


def test_a_loose_probe_taken_for_another_is_named_by_its_spot(refused):
    twice = LOOSE.replace("28-00000000000b", "28-3c01b556e1a2")
    assert "got spot lane air, on line 11 north air" in refused(twice).message
