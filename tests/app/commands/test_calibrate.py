"""The ice bath. The reference: ice with air-saturated water stands at 0.0 °C (MSL Technical Guide 1)."""

import itertools
import math
import tomllib

import pytest

from propstick.app import cli
from propstick.app.commands import calibrate
from propstick.app.commands.calibrate import ice_bath
from propstick.edges.onewire_tree import Tree
from propstick.errors import InputError, ProbeError
from propstick.testing import FakeBus, HandClock

PROBE = "28-00000000000a"
START_S = 1_784_000_000


def settling(offset_c, *, from_c=18.0, minutes=3.0):
    """A probe that reads `offset_c` in ice, put there at the start: first order, three minutes."""

    def values(row_s):
        return {PROBE: offset_c + from_c * math.exp(-(row_s - START_S) / (60 * minutes))}

    return FakeBus(source=values)


@pytest.mark.parametrize("offset_c", [0.31, -0.44, 0.0])
def test_the_correction_takes_the_reading_to_zero(offset_c):
    """What is added to the reading must give the ice point, once e^-5 of the step is gone."""
    found = ice_bath(PROBE, [settling(offset_c)], HandClock(START_S))
    assert offset_c + found.correction_c == pytest.approx(0.0, abs=0.15)
    patient = ice_bath(PROBE, [settling(offset_c)], HandClock(START_S), settle_s=3600)
    assert offset_c + patient.correction_c == pytest.approx(0.0, abs=0.001)


def test_it_counts_after_a_quarter_of_an_hour_and_not_before():
    bus = settling(0.0)
    ice_bath(PROBE, [bus], HandClock(START_S))
    assert len(bus.rows) == 1 + 10  # one to see that it answers, ten for the mean
    assert bus.rows[1] - START_S >= 15 * 60


def test_scatter_is_one_standard_deviation():
    """Of five times 0.1 and five times 0.3: sqrt(10 * 0.1² / 9) = 0.1054."""
    values = itertools.chain([0.0], itertools.cycle([0.1, 0.3]))
    found = ice_bath(PROBE, [FakeBus(source=lambda row_s: {PROBE: next(values)})], HandClock(START_S))
    assert found.correction_c == pytest.approx(-0.2)
    assert found.scatter_c == pytest.approx(0.10541, abs=1e-5)


@pytest.mark.parametrize("reads_c", [2.1, -2.1, 18.0])
def test_what_cannot_be_ice_is_refused(reads_c):
    with pytest.raises(InputError, match="expected -2 to 2"):
        ice_bath(PROBE, [FakeBus(values={PROBE: reads_c})], HandClock(START_S))


def test_a_missed_reading_is_asked_for_again():
    answers = itertools.cycle([{}, {PROBE: 0.25}])
    found = ice_bath(PROBE, [FakeBus(source=lambda row_s: next(answers))], HandClock(START_S))
    assert found.correction_c == pytest.approx(-0.25)


@pytest.mark.parametrize("values", [{}, {PROBE: None}, {"28-00000000000b": 0.0}])
def test_a_probe_that_does_not_answer_ends_it(values):
    with pytest.raises(ProbeError, match="no good value"):
        ice_bath(PROBE, [FakeBus(values=values)], HandClock(START_S))


def test_stopped_before_the_end_nothing_is_measured():
    with pytest.raises(ProbeError, match="stopped"):
        ice_bath(PROBE, [settling(0.3)], HandClock(START_S, stop_after_s=100))


# The command


@pytest.fixture
def garden(tmp_path, monkeypatch):
    """A garden file and a tree whose probe reads 0.3125 °C (0x0005) in ice; time passes at once."""
    Tree(tmp_path / "w1").add(PROBE, 0.3125)
    file = tmp_path / "garden.toml"
    file.write_text(
        f'[[box]]\nname = "north"\n[[probe]]\nid = "{PROBE}"  # red\nbox = "north"\nplace = "air"\n'
        '[onewire]\ntree = "w1"\n'
    )
    monkeypatch.setattr("propstick.edges.clock.SystemClock", lambda: HandClock(START_S))
    return file


def test_the_correction_is_written_with_date_and_scatter(garden, capsys):
    """The register step is 1/16 °C (DS18B20 data sheet), so 0.3125 °C is read exactly."""
    assert cli.main(["calibrate", PROBE, "--garden", str(garden)]) == 0
    text = garden.read_text()
    assert tomllib.loads(text)["probe"][0]["correction_c"] == pytest.approx(-0.3125, abs=0.005)
    assert "# red" in text
    assert "ice water 2026-07-14, mean of 10, scatter 0.00 °C" in text
    assert "crushed ice" in capsys.readouterr().err


def test_a_dry_run_writes_nothing(garden, capsys):
    before = garden.read_text()
    assert cli.main(["calibrate", PROBE, "--dry-run", "--garden", str(garden)]) == 0
    assert garden.read_text() == before
    assert "-0.31 °C" in capsys.readouterr().out


def test_a_large_scatter_is_said(garden, capsys, monkeypatch):
    bath = calibrate.IceBath(correction_c=-0.2, scatter_c=0.3)
    monkeypatch.setattr(calibrate, "ice_bath", lambda *args, **kwargs: bath)
    assert cli.main(["calibrate", PROBE, "--garden", str(garden)]) == 0
    assert "scatter by 0.30 °C" in capsys.readouterr().err


@pytest.mark.parametrize("words", [["28-0000000000ff"], [PROBE, "--minutes", "5"]])
def test_what_cannot_be_done_well_is_refused(garden, capsys, words):
    before = garden.read_text()
    assert cli.main(["calibrate", *words, "--garden", str(garden)]) == 2
    assert garden.read_text() == before
