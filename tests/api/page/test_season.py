"""The season's page: its table, its curve, its sowings."""


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
