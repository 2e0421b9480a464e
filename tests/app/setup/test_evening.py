"""A first evening, on hand-moved probes and piped answers; and what is left of it when it is broken off."""

import io
import json
import tomllib
from dataclasses import replace
from datetime import date

import pytest

from propstick.app import cli
from propstick.app.garden_file.load import load
from propstick.app.setup.evening import Evening, Tools
from propstick.app.setup.talk import Talk
from propstick.edges.database import open_store
from propstick.edges.sowings import Sowings
from propstick.errors import ConfigError, InputError
from propstick.ports import Delivery
from propstick.testing import FakeBus, HandClock

A, B, C = "28-00000000000a", "28-00000000000b", "28-00000000000c"
MARCH_20_S = 1_774_000_000
ALL = [
    "52.35N 6.46W", "", "F", "north, by the lane", A.upper(), C, B,
    "lettuce, north, 2026-03-01", "radish, by the lane", "", "8:00 17:30", "mon-thu", "22:00 6:00",
    "json://127.0.0.1:9/x", "yes", "no",
]  # fmt: skip


class Channel:
    """Takes an address that begins with json, and keeps what is sent."""

    def __init__(self, url, sent, ok=True):
        self.url, self.sent, self.ok = url, sent, ok

    def is_understood(self):
        return self.url.startswith("json")

    def send(self, notice, *, link=None):
        self.sent.append(notice.text)
        return Delivery(ok=self.ok, detail="" if self.ok else "HTTP 500")


@pytest.fixture
def tools():
    sent = []
    bus = FakeBus(values={A: 12.0, B: 12.5, C: 11.5})
    made = Tools(
        buses=lambda: [bus],
        clock=HandClock(MARCH_20_S),
        channel=lambda url: Channel(url, sent),
        zone="Europe/Dublin",
        host="potting",
    )
    return made, sent, bus


@pytest.fixture
def hold(tmp_path, tools):
    """Holds an evening with these answers; gives what was said."""

    def run(answers, *, file=tmp_path / "garden.toml", anew=False, given=None, status=0):
        out = io.StringIO()
        talk = Talk(io.StringIO("\n".join(answers) + "\n" if answers else ""), out)
        assert Evening(file, talk, given or tools[0]).hold(anew=anew) == status
        return out.getvalue()

    return run


def test_an_evening_becomes_a_garden_file_that_is_read_again(hold, tools, tmp_path):
    said = hold(ALL)
    settings = load(tmp_path / "garden.toml")
    garden = settings.garden
    assert (garden.site.latitude, garden.site.longitude) == (52.35, -6.46)
    assert (garden.site.zone, garden.site.unit) == ("Europe/Dublin", "F")
    assert garden.box_names == ("north", "by-the-lane")
    # Places are asked for in this order: air in every box, air outside, then soil.
    assert [(p.id, p.box, p.place) for p in garden.probes] == [
        (A, "north", "air"),
        (C, "by-the-lane", "air"),
        (B, "outside", "air"),
    ]
    assert f"{garden.person.leaves:%H:%M} {garden.person.bed:%H:%M}" == "08:00 22:00"
    assert garden.person.away_days == {0, 1, 2, 3}
    assert [t.name for t in settings.push.targets] == ["phone"]
    assert settings.push.targets[0].url.reveal() == "json://127.0.0.1:9/x"
    assert len(tools[1]) == 1
    assert "NOT" not in said
    assert "No air probe" not in said
    assert "8 of 8" in said


def test_the_file_says_in_comments_what_can_be_changed(hold, tmp_path):
    hold(ALL)
    text = (tmp_path / "garden.toml").read_text()
    assert text.count("#") > 10
    # Every commented key is one the program takes.
    taken_in = "\n".join(
        line.removeprefix("#") if line.startswith("#f") else line for line in text.splitlines()
    )
    assert "floor_m2 = 0.72" in taken_in
    assert tomllib.loads(taken_in)["box"][0]["floor_m2"] == 0.72


def test_secrets_are_for_their_owner_only(hold, tmp_path):
    assert "json://127" not in hold(ALL)
    assert "json://" not in (tmp_path / "garden.toml").read_text()
    assert (tmp_path / "phone.url").stat().st_mode & 0o777 == 0o600


def test_what_is_sown_lies_in_the_store_once(hold, tmp_path):
    """Also when the evening is held a second time."""
    hold(ALL)
    hold(["yes", *ALL])
    store = open_store(f"sqlite:///{tmp_path / 'propstick.db'}", create=False)
    sown = [(s.crop, s.box, s.sown) for s in Sowings(store, "garden").all()]
    store.close()
    assert sown == [("lettuce", "north", date(2026, 3, 1)), ("radish", "by-the-lane", date(2026, 3, 20))]


def test_an_evening_broken_off_goes_on_where_it_stopped(hold, tmp_path):
    """After the fourth question; the answers kept meanwhile are nobody else's to read."""
    with pytest.raises(InputError, match="answers ended"):
        hold(ALL[:7])
    kept = tmp_path / ".garden.toml.setup"
    assert kept.stat().st_mode & 0o777 == 0o600
    assert json.loads(kept.read_text())["boxes"] == ["north", "by-the-lane"]
    assert not (tmp_path / "garden.toml").exists()
    said = hold(ALL[7:])
    assert "Going on" in said
    assert "Where is the garden" not in said
    assert load(tmp_path / "garden.toml").garden.box_names == ("north", "by-the-lane")
    assert not kept.exists()


def test_anew_forgets_it(hold):
    with pytest.raises(InputError):
        hold(ALL[:3])
    assert "Where is the garden" in hold(ALL, anew=True)


def test_a_file_that_is_there_is_never_replaced_unasked(hold, tmp_path):
    file = tmp_path / "garden.toml"
    file.write_text('# mine\n[[box]]\nname = "old"\n')
    assert "stays as it is" in hold([""])
    assert file.read_text().startswith("# mine")
    with pytest.raises(InputError):
        hold([])
    assert file.read_text().startswith("# mine")
    hold(["yes", *ALL])
    assert (tmp_path / "garden.toml.before").read_text().startswith("# mine")
    hold(["yes", *ALL])
    assert (tmp_path / "garden.toml.before").read_text().startswith("# mine")
    assert (tmp_path / "garden.toml.before-2").exists()


def test_everything_may_be_left_open(hold, tmp_path):
    """Only Enter: one box, Celsius, no probe, nobody told. It is a good file all the same."""
    said = hold(["", "", "", "", "done", "", "", "", "", ""], status=1)
    settings = load(tmp_path / "garden.toml", probes_required=False)
    assert settings.garden.box_names == ("box",)
    assert settings.garden.site.latitude is None
    assert settings.push.targets == ()
    assert "propstick probes find" in said


def test_back_asks_the_question_before_once_more(hold, tmp_path):
    answers = ["", "", "F", "back", "C", *ALL[3:]]
    hold(answers)
    assert load(tmp_path / "garden.toml").garden.site.unit == "C"


def test_a_probe_warmed_in_the_hand_is_found_though_the_one_before_still_cools(hold, tools, tmp_path):
    """The first warms by 6 degrees and then cools by 3: only the second may be found after it."""
    given, _, bus = tools
    warming = {A: 6.0}

    def source(_row):
        calls = len(bus.rows)
        # One look to count, three to learn what rest is, then the hand; the same for the second.
        first = warming[A] if calls > 4 else 0.0
        if calls > 6:
            first = 6.0 - (calls - 6)
        return {A: 12.0 + max(first, 0.0), B: 12.5 + (5.0 if calls > 9 else 0.0), C: 11.5}

    bus.source = source
    said = hold([*ALL[:3], "north", "", "", "done", "", "never", "", "", "no"])
    garden = load(tmp_path / "garden.toml").garden
    assert [(p.id, p.box) for p in garden.probes] == [(A, "north"), (B, "outside")]
    assert f"{A} moved by +6.0" in said
    assert given.clock.waits


def test_nobody_warms_a_probe(hold, tools, tmp_path):
    """It says so, and the place can be left empty."""
    said = hold([*ALL[:3], "north", "", "done", "", "never", "", "", "no"], status=1)
    assert "no probe moved" in said
    assert load(tmp_path / "garden.toml", probes_required=False).garden.probes == ()


def test_a_message_that_did_not_arrive_leads_back_to_the_address(hold, tools, tmp_path):
    given, sent, _ = tools
    stubborn = replace(given, channel=lambda url: Channel(url, sent, ok=not url.endswith("bad")))
    said = hold([*ALL[:13], "json://h/bad", "no", "json://h/good", "yes", "no"], given=stubborn)
    assert "could not be sent: HTTP 500" in said
    assert load(tmp_path / "garden.toml").push.targets[0].url.reveal() == "json://h/good"


def test_an_address_nobody_understands_is_not_repeated_aloud(hold):
    with pytest.raises(InputError) as refused:
        hold([*ALL[:13], "nonsense:secret"])
    assert "secret" not in str(refused.value)


def test_the_page_for_phones_asks_for_a_phrase_and_shows_a_code(tmp_path, tools, monkeypatch):
    from propstick.edges.access import AccessBook

    given = replace(tools[0], secret=lambda prompt: "wax arm and glass")
    out = io.StringIO()
    talk = Talk(io.StringIO("\n".join([*ALL[:-1], "yes"]) + "\n"), out)
    talk.is_terminal = True
    Evening(tmp_path / "garden.toml", talk, given).hold()
    settings = load(tmp_path / "garden.toml")
    assert (settings.api.listen, settings.api.address) == ("0.0.0.0", "http://potting.local:8460")
    store = open_store(settings.store.url, create=False)
    assert AccessBook(store, settings.garden.site.name).has_passphrase()
    store.close()
    assert "▀" in out.getvalue()
    assert "wax arm" not in out.getvalue() + (tmp_path / "garden.toml").read_text()


def test_a_folder_that_cannot_be_written_is_said_at_the_first_answer(hold, tmp_path):
    with pytest.raises(ConfigError, match="cannot be written"):
        hold(ALL, file=tmp_path / "nowhere" / "garden.toml")


def test_from_the_command_line_with_answers_piped_in(tmp_path, monkeypatch, capsys):
    """No probes on this machine: the question says so and goes on."""
    monkeypatch.setattr("propstick.edges.onewire.KERNEL_TREE", tmp_path / "no-tree")
    monkeypatch.setattr("sys.stdin", io.StringIO("52.35 -6.46\nEurope/Dublin\nC\nnorth\n\nnever\n\n\nno\n"))
    file = tmp_path / "plot.toml"
    assert cli.main(["setup", "--garden", str(file)]) == cli.FAULT
    assert load(file, probes_required=False).garden.box_names == ("north",)
    said = capsys.readouterr().out
    assert "this machine has no 1-wire bus" in said
    end = said.partition("NOTHING IS WATCHED YET")[2]
    assert f"propstick probes name ID north air --garden {file}" in end


def test_without_a_probe_its_end_is_as_the_watch_would_have_it(hold, tools, tmp_path):
    """Nothing is watched: it says so last, and the watch refuses the file it wrote."""
    given = replace(tools[0], buses=lambda: [FakeBus(values={})])
    said = hold(["", "", "", "north, lane", "", "never", "", "", "no"], given=given, status=1)
    assert "No probe answers on the wire" in said
    end = said.partition("Written:")[2]
    assert "NOTHING IS WATCHED YET: north, lane have no probe" in end
    for step in ("hardware/README.md", "probes list", "probes name ID north air", "probes name ID lane air"):
        assert step in end
    with pytest.raises(ConfigError, match="no probe in any box"):
        load(tmp_path / "garden.toml")


def test_a_box_with_its_soil_alone_is_not_watched_for_heat_and_frost(hold, tmp_path):
    """Places: air in north, air outside, then soil in north."""
    said = hold([*ALL[:3], "north", "skip", B, C, "done", "", "never", "", ALL[13], "yes", "no"], status=1)
    end = said.partition("Written:")[2]
    assert "NOT WATCHED FOR HEAT AND FROST: north" in end
    assert "probes name ID north air" in end
    assert "No air probe outside" not in end
    load(tmp_path / "garden.toml")


def test_no_probe_outside_and_nobody_to_tell_are_said_and_the_watch_begins(hold, tmp_path):
    said = hold([*ALL[:3], "north", A, "no", "done", "", "never", "", "none", "no"])
    end = said.partition("Written:")[2]
    assert "No air probe outside" in end
    assert "foreseen less surely" in end
    assert "reach nobody" in end
    assert "NOT" not in end
    assert "Next: propstick check" in end
    load(tmp_path / "garden.toml")


def test_what_was_understood_is_said_back(hold):
    """All but the equinox: some 12 h 10 min of day, about noon at 12:26 by longitude and 7 min of almanac."""
    said = hold(["52.35N 6.46W", "", "F", "north and lane", *ALL[4:7], "no", "8:00 17:30", "", "", "", "no"])
    assert "2 boxes: north, lane." in said
    assert "Away 08:00 to 17:30 on mon, tue, wed, thu, fri; in bed 22:30 to 06:30" in said
    assert "the sun rises today at 06:2" in said
    assert "sets at 18:3" in said


def test_back_where_nothing_is_before_and_at_the_phrase(hold, tmp_path):
    """Before the first question it keeps the old file; at the phrase the last question comes once more."""
    hold([*ALL[:-1], "yes", "back", "yes", "no"])
    assert load(tmp_path / "garden.toml").api.address is None
    assert "stays as it is" in hold(["back"])


def test_quit_breaks_off_like_the_end_of_the_answers(hold, tmp_path):
    with pytest.raises(InputError, match="answers ended") as ended:
        hold([*ALL[:3], "quit"])
    assert "goes on from there" in ended.value.hint
    assert json.loads((tmp_path / ".garden.toml.setup").read_text())["unit"] == "F"


def test_an_end_at_the_hidden_phrase_is_no_crash(monkeypatch):
    from propstick.app.setup import files as _setup_files

    def end_of_input(prompt):
        raise EOFError

    monkeypatch.setattr("getpass.getpass", end_of_input)
    with pytest.raises(InputError, match="answers ended at 'Pass phrase"):
        _setup_files.ask_secret("Pass phrase (not shown): ")


def test_ctrl_c_says_that_the_answers_are_kept(tmp_path, monkeypatch, capsys):
    class Stopped(io.StringIO):
        """Ctrl-C after the lines given."""

        def readline(self, *_):
            if line := super().readline():
                return line
            raise KeyboardInterrupt

    file = tmp_path / "plot.toml"
    monkeypatch.setattr("sys.stdin", Stopped("52.35 -6.46\nEurope/Dublin\n"))
    assert cli.main(["setup", "--garden", str(file)]) == cli.INTERRUPTED
    assert "goes on from there" in capsys.readouterr().out
    monkeypatch.setattr("sys.stdin", Stopped(""))
    assert cli.main(["setup", "--garden", str(tmp_path / "other.toml")]) == cli.INTERRUPTED
    assert "goes on" not in capsys.readouterr().out


def test_answers_that_end_early_are_refused_with_what_to_do(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr("sys.stdin", io.StringIO("52.35 -6.46\n"))
    assert cli.main(["setup", "--garden", str(tmp_path / "plot.toml")]) == cli.REFUSED
    assert "goes on from there" in capsys.readouterr().err
