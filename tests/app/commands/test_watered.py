"""watered leaves a request for the watch; a moment to come, or none at all, is refused."""

from datetime import UTC, datetime

import pytest

from propstick.app import cli
from propstick.app.commands.watered import moment_of
from propstick.edges.database import open_store
from propstick.edges.requests import Requests
from propstick.errors import InputError

NOW_S = int(datetime(2026, 3, 15, 9, tzinfo=UTC).timestamp())  # 10 in Berlin


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("07:30", (2026, 3, 15, 6, 30)),
        ("7:30", (2026, 3, 15, 6, 30)),
        ("today", (2026, 3, 15, 9, 0)),
        ("yesterday", (2026, 3, 14, 11, 0)),
        ("2026-03-10", (2026, 3, 10, 11, 0)),
        ("2026-03-10T19:15", (2026, 3, 10, 18, 15)),
        ("2026-03-10 19:15", (2026, 3, 10, 18, 15)),
    ],
)
def test_a_moment_is_on_the_garden_s_clock(text, utc):
    found = moment_of(text, now_s=NOW_S, zone="Europe/Berlin")
    assert datetime.fromtimestamp(found, UTC) == datetime(*utc, tzinfo=UTC)


@pytest.mark.parametrize("text", ["10:01", "2026-03-16", "25:00", "2026-02-30", "noon", "", "-1"])
def test_what_has_not_been_or_is_no_moment_is_refused(text):
    with pytest.raises(InputError, match="--at"):
        moment_of(text, now_s=NOW_S, zone="Europe/Berlin")


def test_the_command_leaves_a_request(tmp_path, capsys):
    file = tmp_path / "garden.toml"
    file.write_text(
        '[site]\nname = "lane"\n[[box]]\nname = "north"\n'
        '[[probe]]\nid = "28-00000000000a"\nbox = "north"\nplace = "air"\n'
    )
    store = open_store(f"sqlite:///{tmp_path / 'propstick.db'}")
    assert cli.main(["watered", "north", "--garden", str(file)]) == 0
    assert cli.main(["watered", "north", "--at", "yesterday", "--garden", str(file)]) == 0
    assert "watered yesterday" in capsys.readouterr().out
    assert cli.main(["watered", "nort", "--garden", str(file)]) == 2
    bodies = [one.body for one in Requests(store, "lane").pending()]
    assert bodies[0] == {"box": "north"}
    assert sorted(bodies[1]) == ["at", "box"]
    store.close()
