"""The season's page: its table, its curve, its sowings."""


def test_the_season_shows_each_box_and_its_sowings(client):
    """Warmth is highest in lane, which is 4 degrees above the outside; radish was sown outside."""
    page = client.get("/season").text
    assert page.index('<th scope="row">lane</th>') < page.index('<th scope="row">north (wall)</th>')
    assert '<th scope="row">radish</th>' in page
    assert page.count("<svg") == 1
    assert "Warmth gathered above 4 °C" in page
