"""The season's page: its table, its curve, its sowings."""

import re


def test_the_season_shows_each_box_and_its_sowings(client):
    """Warmth is highest in lane, which is 4 degrees above the outside; radish was sown outside."""
    page = client.get("/season").text
    assert page.index('<th scope="row">lane</th>') < page.index('<th scope="row">north (wall)</th>')
    assert '<th scope="row">radish</th>' in page
    assert page.count("<svg") == 1
    assert "Warmth gathered above 4.4 °C" in page


def test_the_season_shows_its_outlook(client):
    """The parts of the season's report: batches with their dates, boxes, warnings, spots."""
    page = client.get("/season").text
    assert "What was sown, and what came of it" in page
    assert '<th scope="row">1 lettuce</th>' in page
    assert "What the boxes did" in page
    assert "Days ahead" in page


def test_the_season_says_each_thing_once(client):
    """One tally of warnings, each heading once, and one first day for outlook, curve and sums."""
    page = client.get("/season").text
    assert page.count("came unannounced") + page.count("No warning") == 1
    for heading in ("What was sown, and what came of it", "What the boxes did"):
        assert page.count(f">{heading}<") == 1
    assert "<h1>Season, Thu 1 January to Mon 13 April</h1>" in page


def test_the_outlook_has_the_decimal_sign_of_its_reader(client):
    """A German browser reads 13,3 h of sun, and the person's own note as it was typed."""
    page = client.get("/season", headers={"Accept-Language": "de"}).text
    assert "4,4 °C" in page
    assert re.search(r"\d\.\d", re.sub(r"<(svg|head).*?</\1>", "", page, flags=re.DOTALL)) is None


def test_the_season_says_where_a_box_serves_best_and_what_is_not_known(client):
    """One night of readings: heat first in the spots' table, and no guess at what nobody measured."""
    page = client.get("/season").text
    assert page.count(">Where a box serves best now<") == 1
    assert page.index(">Where a box serves best now<") < page.index(">What each spot gives<")
    assert '<th scope="row">lane\'s place</th>' in page.replace("&#x27;", "'").replace("&#39;", "'")
    assert "Not known yet:" in page
    assert "cannot be said: fewer than seven were measured outside" in page
    siting = client.get("/v1/season/outlook").json()["siting"]
    assert {one["spot"]: one["overheats"] for one in siting["spots"]} == {"wall": None, "lane's place": None}
    assert siting["not_known_yet"]


def test_columns_in_which_nothing_stands_are_left_away(client):
    """Nothing has flowered, was cleared or gave anything: on a phone each column costs."""
    page = client.get("/season").text
    assert '<th scope="col">First pick</th>' in page
    assert '<th scope="col">Flowering</th>' not in page
    assert client.patch("/v1/sowings/1", json={"yield_note": "two bowls"}).status_code == 200
    assert '<th scope="col">Gave</th>' in client.get("/season").text
