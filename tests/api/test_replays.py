"""A recording sent in: what the command line would print of it."""

import json

import pytest

from propstick.app.cli import main

CSV = "time,outside.air,north.air\n" + "".join(
    f"2026-04-12T{8 + k // 60:02d}:{k % 60:02d}:00Z,{8 + k / 60:.2f},{16 + k / 8:.2f}\n" for k in range(180)
)
SITE = "53.35,-6.26,Europe/Dublin"


def _post(client, body, **query):
    return client.post("/v1/replay", params=query, content=body, headers={"Content-Type": "text/csv"})


@pytest.mark.slow
def test_a_replay_says_what_the_command_says(client, tmp_path, capsys):
    """The same JSON, key by key."""
    (tmp_path / "day.csv").write_text(CSV)
    assert main(["replay", str(tmp_path / "day.csv"), "--site", SITE, "--set", "heat_c=26", "--json"]) == 0
    printed = json.loads(capsys.readouterr().out)
    answered = _post(client, CSV, site=SITE, set="heat_c=26")
    assert answered.status_code == 200
    assert answered.json() == printed
    assert {"heat"} <= {a["kind"] for a in answered.json()["alarms"]}


@pytest.mark.parametrize(
    ("body", "query", "status"),
    [
        (b"", {}, 422),
        (b"\x00\xff\xfe", {}, 422),
        (b"time,est\n2026-01-01T00:00:00Z,1\n", {}, 422),
        (b"time,north.wind\n2026-01-01T00:00:00Z,1\n", {}, 422),
        (b"time,north.air\n2026-01-01T00:00:00,1\n", {}, 422),
        (b"[{}]", {}, 422),
        (b"{" * 10_000, {}, 422),
        (CSV.encode(), {"site": "91,0,Europe/Dublin"}, 422),
        (CSV.encode(), {"site": "53,0,Europe/Nowhere"}, 422),
        (CSV.encode(), {"unit": "K"}, 422),
        (CSV.encode(), {"set": "north.colour=green"}, 422),
        (CSV.encode(), {"set": "heat_c=1e9"}, 422),
        (b"\x1f\x8b\x08\x00", {}, 415),
        (b"time,north.air\n2001-01-01T00:00:00Z,1\n2025-01-01T00:00:00Z,1\n", {}, 422),
    ],
)
def test_what_cannot_be_replayed_is_refused(client, body, query, status):
    """Problem details that say where and what; never a fault."""
    refused = _post(client, body, **query)
    assert refused.status_code == status, refused.text
    assert refused.headers["content-type"] == "application/problem+json"


def test_a_second_replay_waits_its_turn(client):
    """One at a time: 429 and when to ask again; the first one's end makes room."""
    replaying = client.app.state.service.replaying
    with replaying:
        refused = _post(client, CSV)
    assert (refused.status_code, refused.headers["retry-after"]) == (429, "10")
    assert not replaying.locked()
    assert _post(client, b"x").status_code == 422
    assert not replaying.locked()
