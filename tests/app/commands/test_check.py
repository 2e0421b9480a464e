"""check: one line each, in words, and what to do; nothing it says may be empty comfort."""

import json
import threading
from http.server import BaseHTTPRequestHandler, HTTPServer

import pytest

from propstick.app import cli
from propstick.app.checks import garden as garden_checks
from propstick.app.garden_file.load import load
from propstick.edges.onewire_tree import Tree

AIR, OUT = "28-00000000000a", "28-00000000000b"
NOW_S = 1_784_000_000
GARDEN = f"""\
[site]
name = "lane"
latitude = 52.35
longitude = -6.46
zone = "Europe/Dublin"
[[box]]
name = "north"
[[probe]]
id = "{AIR}"
box = "north"
place = "air"
[[probe]]
id = "{OUT}"
box = "outside"
place = "air"
[onewire]
tree = "w1"
"""


@pytest.fixture
def garden(tmp_path):
    """A garden file with both of its probes on the wire; gives file and tree."""
    tree = Tree(tmp_path / "w1")
    tree.add(AIR, 12.5)
    tree.add(OUT, 8.0)
    file = tmp_path / "garden.toml"
    file.write_text(GARDEN)
    return file, tree


@pytest.fixture
def check(garden, capsys):
    """Runs `check --json`; gives status and findings by thing."""

    def run(added="", *words):
        file, _ = garden
        file.write_text(GARDEN + added)
        status = cli.main(["check", "--json", "--garden", str(file), *words])
        found = {}
        for one in json.loads(capsys.readouterr().out):
            found.setdefault(one["thing"], []).append(one)
        return status, found

    return run


def test_a_good_garden_is_ok_and_says_what_goes_unnoticed(check):
    status, found = check()
    assert status == 0
    assert found["garden"][0]["mark"] == "ok"
    assert "1 box, 2 probes" in found["garden"][0]["found"]
    assert (found[AIR][0]["mark"], found[AIR][0]["found"]) == ("ok", "north air: 12.5 °C")
    assert found["push"][0]["mark"] == "look"
    assert "reach nobody" in found["push"][0]["found"]
    assert "if the Pi dies" in found["heartbeat"][0]["found"]
    assert found["store"][0]["do"] == "propstick watch makes it"


def test_every_line_that_is_not_ok_says_what_to_do(check, garden):
    _, tree = garden
    tree.bad_checksum(AIR)
    tree.vanish(OUT)
    status, found = check()
    assert status == 1
    assert (found[AIR][0]["mark"], found[OUT][0]["mark"]) == ("bad", "bad")
    assert "checksum" in found[AIR][0]["found"]
    assert "not seen" in found[OUT][0]["found"]
    assert all(one["do"] for lines in found.values() for one in lines if one["mark"] != "ok")


def test_text_is_one_line_each_with_the_step_below(garden, capsys):
    file, _ = garden
    assert cli.main(["check", "--garden", str(file)]) == 0
    for line in capsys.readouterr().out.splitlines():
        assert line.split()[0] in ("ok", "look", "bad", "->")


def test_a_bad_file_is_refused_and_nothing_is_looked_at(garden, capsys):
    file, _ = garden
    file.write_text(GARDEN + "[alarms]\nheat_C = 30\n")
    assert cli.main(["check", "--garden", str(file)]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert f"garden.toml:{len(GARDEN.splitlines()) + 2}: [alarms], key heat_C" in said.err


def test_a_probe_nobody_assigned_is_named_with_the_command_to_copy(check, garden):
    _, tree = garden
    tree.add("28-00000000000c", 9.0)
    _, found = check()
    assert found["28-00000000000c"][0]["do"] == "propstick probes name 28-00000000000c BOX PLACE"


def test_a_probe_that_was_changed_for_another_is_told_what_to_write(check, garden):
    """One gone, one new: likely the one stands where the other did. An id in other letters is the same."""
    _, tree = garden
    tree.vanish(AIR)
    tree.add("28-00000000000c", 9.0)
    _, found = check()
    assert "if 28-00000000000c was put in its place" in found[AIR][0]["do"]
    tree.add(AIR, 9.0)
    _, found = check('[[probe]]\nid = "28-00000000000C"\nbox = "north"\nplace = "soil"\n')
    assert found["28-00000000000C"][0]["do"] == "write its id as the wire does: 28-00000000000c"


def test_a_longitude_without_its_minus_is_bad(check, garden):
    """The sun would set at breakfast and every night forecast come at noon."""
    file, _ = garden
    _, found = check()
    assert "site" not in found
    file.write_text(GARDEN.replace("Europe/Dublin", "America/New_York").replace("-6.46", "74.0"))
    told = [f for f in garden_checks.garden(load(file), now_s=NOW_S) if f.thing == "site"]
    assert [one.mark for one in told] == ["bad"]
    assert "minus" in told[0].do


def test_no_tree_is_bad_when_probes_are_wired(check, garden, tmp_path):
    _, found = check()
    (tmp_path / "w1").rename(tmp_path / "gone")
    status, found = check()
    assert status == 1
    assert "dtoverlay=w1-gpio" in found["wire"][0]["do"]


def test_a_box_without_any_probe_is_bad_and_the_wire_is_looked_at_all_the_same(tmp_path, capsys):
    """As `setup` leaves it where no probe answered; the watch refuses the file."""
    file = tmp_path / "garden.toml"
    file.write_text(f'[[box]]\nname = "north"\n[onewire]\ntree = "{tmp_path / "none"}"\n')
    assert cli.main(["check", "--garden", str(file)]) == cli.FAULT
    said = capsys.readouterr().out
    assert "no probe: this box is not watched" in said
    assert "no 1-wire tree" in said
    assert cli.main(["watch", "--once", "--garden", str(file)]) == cli.REFUSED


def test_a_person_who_goes_away_without_a_helper_is_told(check):
    _, found = check('[person]\nleaves = "08:00"\nback = "17:30"\n')
    assert "from 08:00 to 17:30" in found["helper"][0]["found"]
    _, found = check(
        '[person]\nleaves = "08:00"\nback = "17:30"\nhelper = "sue"\n'
        '[push]\nurls = [{ name = "sue", url = "json://127.0.0.1:1/x" }]\n'
    )
    assert "helper" not in found


def test_boxes_without_air_and_a_garden_without_outside_are_said(tmp_path):
    file = tmp_path / "garden.toml"
    file.write_text('[[box]]\nname = "north"\n[[probe]]\nid = "n/soil"\nbox = "north"\nplace = "soil"\n')
    told = {f.thing: f.found for f in garden_checks.garden(load(file), now_s=NOW_S)}
    assert "no air probe" in told["north"]
    assert "no probe outside" in told["outside"]
    assert "no position" in told["site"]


def test_a_single_address_is_said_and_a_second_of_ones_own_ends_it(check):
    """The helper's address does not count as a second: it is used only while the person is away."""

    def said(urls):
        _, found = check(f'[person]\nhelper = "sue"\n[push]\nurls = [{urls}]\n')
        return [one["found"] for one in found["push"] if one["mark"] == "look"]

    mail, sue = '"json://127.0.0.1:1/x"', '{ name = "sue", url = "json://127.0.0.1:1/y" }'
    (alone,) = said(f"{mail}, {sue}")
    assert "if that service fails, nobody is told" in alone
    (helper_only,) = said(sue)
    assert "no address of your own" in helper_only
    assert said(f'{mail}, {sue}, "json://127.0.0.1:1/z"') == []


# Push, really sent to a server on loopback


@pytest.fixture
def receiver():
    """A web server that keeps what is posted to it; gives its address and the list."""
    posts = []

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self):
            posts.append(json.loads(self.rfile.read(int(self.headers["Content-Length"]))))
            self.send_response(500 if "refuse" in self.path else 200)
            self.end_headers()

        def log_message(self, *args):
            pass

    server = HTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    yield f"json://127.0.0.1:{server.server_port}", posts
    server.shutdown()
    thread.join()
    server.server_close()


def test_without_send_nothing_goes_out(check, receiver):
    address, posts = receiver
    _, found = check(f'[push]\nurls = ["{address}/ok"]\n')
    assert posts == []
    assert "not tried" in found["push"][0]["found"]


@pytest.mark.slow
def test_send_really_sends_and_says_what_failed(check, receiver):
    address, posts = receiver
    status, found = check(f'[push]\nurls = ["{address}/ok", "{address}/refuse"]\n', "--send")
    assert status == 1
    assert [one["mark"] for one in found["push"]] == ["ok", "bad"]
    assert "Nothing to do" in posts[0]["message"]
    assert "500" in found["push"][1]["found"]


# Broker


@pytest.mark.slow
def test_no_broker_is_bad(check):
    status, found = check('[mqtt]\nhost = "127.0.0.1"\nport = 1\n')
    assert status == 1
    assert found["broker"][0]["mark"] == "bad"
    assert "127.0.0.1:1" in found["broker"][0]["found"]
