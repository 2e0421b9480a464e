"""The first sight: its sentence, its age, its boxes, its forms; nothing typed becomes markup."""

import re
from dataclasses import replace
from typing import get_args

from propstick.edges.database import open_store
from propstick.edges.sowings import Sowings
from propstick.records import Doubt
from propstick_api.live import Health
from propstick_api.page.home import first_sight
from propstick_api.page.reading import Reading


def _h1(client, **headers):
    return re.search("<h1>(.*?)</h1>", client.get("/", headers=headers).text).group(1)


def test_it_opens_with_what_needs_a_hand(client):
    """A frost alarm nobody has seen comes before all else."""
    assert _h1(client) == "Yes: north is at 0.6 °C, under 1 °C: close and cover it."


def test_data_that_is_old_is_not_taken_for_now(rig, client):
    """Four hours after the last row the page cannot say, and says how old it is."""
    rig.clock.advance(4 * 3600)
    page = client.get("/").text
    assert "Cannot say: what is shown here is 4 hours old. When last heard of, north needed you." in page
    assert "OLD: last read 4 hours ago, at 08:55." in page


def test_acknowledging_works_as_a_plain_form_and_leads_back(client):
    """The wish is left once, the page says so, and the sentence goes on to what is due."""
    page = client.get("/").text
    alarm_id = re.search(r'name="id" value="([^"]+)"', page).group(1)
    answer = client.post("/alarms/acknowledge", data={"id": alarm_id}, follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    after = client.get("/").text
    assert "You have seen it; the watch takes it up with its next row." in after
    assert [r["kind"] for r in client.get("/v1/now").json()["asked"]] == ["acknowledge"]
    assert _h1(client) == "Yes: prop lane, when you can."


def test_an_alarm_that_is_over_is_answered_in_words(client):
    """As is one that never was."""
    answer = client.post("/alarms/acknowledge", data={"id": "north.heat.never"})
    assert "That alarm was over already; nothing was changed." in answer.text


def test_shelving_takes_only_the_offered_hours(client):
    """A figure of somebody's own is refused, a chosen one becomes a wish with its end."""
    alarm_id = client.get("/v1/now").json()["alarms"][0]["id"]
    assert client.post("/alarms/shelve", data={"id": alarm_id, "hours": "9999"}).status_code == 422
    client.post("/alarms/shelve", data={"id": alarm_id, "hours": "4"})
    assert client.get("/v1/now").json()["asked"][0]["body"]["until"] == "2026-04-13T11:55:20+00:00"


def test_what_a_person_typed_is_never_markup(rig):
    """A crop with a script in its name is shown letter by letter."""
    store = open_store(rig.settings.store.url)
    Sowings(store, "plot").add(
        {"crop": "<script>x</script>", "box": "north", "sown": "2026-04-02"}, by="test", at_s=1
    )
    store.close()
    page = rig.client().get("/").text
    assert "&lt;script&gt;x&lt;/script&gt;, sown Thu 2 April" in page
    assert "<script>x" not in page


def test_fahrenheit_and_comma(rig, client):
    """0.62 °C is 33.1 °F (NIST SP 811, B.8), shown whole; a German browser gets a comma."""
    assert ">0,6 °C</strong>" in client.get("/", headers={"Accept-Language": "de-DE,de;q=0.9"}).text
    garden = replace(rig.settings.garden, site=replace(rig.settings.garden.site, unit="F"))
    rig.settings = replace(rig.settings, garden=garden)
    page = rig.client().get("/").text
    assert ">33 °F</strong>" in page
    assert "at 8:55 am" in page


def test_a_box_known_less_surely_says_why(rig, client):
    """Each reason has words of its own; a box that is known as ever has none."""
    view = client.get("/v1/now").json()
    reading, said = Reading(rig.settings.garden, accept_language=""), set()
    health = Health("watching", "", 1_776_066_900, 20, 300)
    for doubt in (None, *get_args(Doubt)):
        view["boxes"][1]["doubt"] = doubt
        body = first_sight(view, health, reading, now_s=1_776_066_920, is_night=False, said="")
        assert body.count("less sure") == (0 if doubt is None else 1)
        said.add(body)
    assert len(said) == 6


def test_only_our_own_files_are_static(client):
    """No path leads out of the folder."""
    assert client.get("/static/propstick.css").headers["content-type"].startswith("text/css")
    assert client.get("/static/..%2Fwords.py").status_code == 404
    assert client.get("/static/words.py").status_code == 404
