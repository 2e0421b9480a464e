"""The list of nights and one night: worst minute in words, what happened, what would have been."""

import re


def test_the_list_leads_to_each_night(client):
    """One row a night, with its coldest box."""
    page = client.get("/nights").text
    assert '<a href="/night/2026-04-12">Sun 12 April</a>' in page
    assert "in north" in page


def test_a_night_says_its_worst_minute_and_what_happened(client):
    """North was 1.5 degrees above the outside, which fell to -3 °C, less the lag: well below its limit."""
    page = client.get("/night/2026-04-12").text
    assert "Coldest in north: −1.0 °C at 05:" in page
    assert "2.0 °C below its limit of 1 °C" in page
    assert "close and cover it." in page
    assert '<svg xmlns="http://www.w3.org/2000/svg"' in page
    assert "/v1/nights/2026-04-12/readings.senml" in page


def test_another_night_and_no_night_are_said_in_words(client):
    """A page, not an object, for who follows an old link."""
    for day in ("2026-04-01", "yesterday", "0001-01-01"):
        found = client.get(f"/night/{day}")
        assert found.status_code == 404
        assert "No such night" in found.text


def test_what_if_refuses_in_words(client):
    """A time outside the night, and a box there is none of."""
    page = client.get("/night/2026-04-12", params={"box": "no<b>", "action": "closed", "at": "21:00"}).text
    assert "no<b>" not in page
    assert 'role="status"' in page
    page = client.get("/night/2026-04-12", params={"box": "north", "action": "closed", "at": "12:30"}).text
    assert "expected a time from" in page


def test_two_boxes_of_one_night_stand_beside_each_other(client):
    """Two pictures, each of one box, on one scale; also where only the second is chosen."""
    page = client.get("/night/2026-04-12", params={"show": "lane", "beside": "north"}).text
    assert re.findall('class="ps-hours" data-box="([a-z]+)"', page) == ["lane", "north"]
    assert page.count("<figure") == 2
    marks = [re.findall(r'text-anchor="end" class="ps-t-quiet">([−\d]+)<', one) for one in _pictures(page)]
    assert len(marks[0]) > 2
    assert marks[0] == marks[1]
    page = client.get("/night/2026-04-12", params={"beside": "lane"}).text
    assert re.findall('class="ps-hours" data-box="([a-z]+)"', page) == ["north", "lane"]


def test_one_box_alone_and_an_unknown_one(client):
    """One picture; a name that is none is said in words, as text."""
    page = client.get("/night/2026-04-12", params={"show": "lane"}).text
    assert re.findall('class="ps-hours" data-box="([a-z]+)"', page) == ["lane"]
    page = client.get("/night/2026-04-12", params={"show": "<b>"}).text
    assert "<b>" not in page
    assert "the boxes are north, lane" in page
    page = client.get("/night/2026-04-12", params={"beside": "<b>"}).text
    assert "<b>" not in page
    assert "expected a day such as" in page


def _pictures(page):
    return re.findall(r"<svg.*?</svg>", page, flags=re.DOTALL)


def test_the_picture_on_the_page_has_the_readers_decimal_sign(client):
    """A browser that asks for German first: no degree with a point is left in the drawing."""
    german = client.get("/night/2026-04-12", headers={"Accept-Language": "de-DE,de;q=0.9"}).text
    picture = german[german.index("<svg") : german.index("</svg>")]
    drawn = [text for text in re.findall(r"<text[^>]*>([^<]*)", picture) if "lowest" in text and "°C" in text]
    assert drawn
    assert all("," in text and "." not in text for text in drawn)
    assert "lowest −" in client.get("/night/2026-04-12").text
