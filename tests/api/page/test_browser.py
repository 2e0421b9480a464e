"""The page in a real browser, on a phone and on a desktop: Debian's chromium, without a window."""

import re
import shutil

import pytest

from propstick_api import live
from propstick_api.server import start_beside

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
CHROMIUM = shutil.which("chromium")
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="Debian's chromium is not installed"),
]
ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
PHONE, DESKTOP = {"width": 360, "height": 800}, {"width": 1280, "height": 800}
PAGES = ("/", "/nights", "/night/2026-04-12", "/night/2026-04-12?show=north&beside=lane", "/season")


@pytest.fixture(scope="module")
def chromium():
    """One browser for all tests; each opens a window of its own."""
    with sync_api.sync_playwright() as running:
        browser = running.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield browser
        browser.close()


@pytest.fixture
def served(rig, monkeypatch):
    """The service in a thread, looking often."""
    monkeypatch.setattr(live, "LOOK_EVERY_S", 0.02)
    running = start_beside(rig.settings, clock=rig.clock)
    yield running
    running.stop()


@pytest.fixture
def look(chromium, served):
    """Opens a page in a window; what the browser complained of is in `complaints`."""
    windows = []

    def opened(path="/", *, size=PHONE, **choices):
        window = chromium.new_context(viewport=size, base_url=served.address, **choices)
        windows.append(window)
        page = window.new_page()
        page.complaints = []
        page.on("console", lambda said: page.complaints.append(said.text) if said.type == "error" else None)
        page.on("pageerror", lambda error: page.complaints.append(str(error)))
        page.goto(path)
        return page

    yield opened
    for window in windows:
        window.close()


@pytest.mark.parametrize("size", [PHONE, DESKTOP], ids=["phone", "desktop"])
def test_first_sight_has_the_answer_above_the_fold(look, size):
    """The sentence and the first box are seen without scrolling, and nothing has to be scrolled sideways."""
    page = look(size=size)
    heading = page.locator("h1")
    assert heading.inner_text() == "Yes: north is at 0.6 °C, under 1 °C: close and cover it."
    box = page.locator("section.box svg").first.bounding_box()
    assert box is not None
    assert box["y"] + box["height"] < size["height"]
    assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]
    assert page.complaints == []


def test_a_new_row_changes_the_page_and_keeps_the_focus(rig, look):
    """The watch does another row: the stream tells, the main part is renewed, the button keeps the focus."""
    page = look()
    button = page.get_by_role("button", name=re.compile("^I have seen it")).first
    button.focus()
    before = page.evaluate("document.activeElement.id")
    assert "at 08:55." in page.locator(".read").inner_text()
    rig.clock.advance(300)
    rig.live_rows()
    sync_api.expect(page.locator(".read")).to_contain_text("at 09:00.")
    assert page.evaluate("document.activeElement.id") == before


def test_a_lost_line_is_said_in_words(look, served):
    """The service ends while the page is open."""
    page = look()
    page.wait_for_load_state("load")
    served.stop()
    sync_api.expect(page.locator("#line")).to_contain_text("No line to the Pi")


def test_acknowledging_needs_no_script(look):
    """A browser that runs none."""
    page = look(java_script_enabled=False)
    page.get_by_role("button", name=re.compile("^I have seen it")).first.click()
    assert page.locator(".pending").inner_text().startswith("You have seen it")
    assert page.locator("h1").inner_text() == "Yes: prop lane, when you can."


@pytest.mark.parametrize("size", [PHONE, DESKTOP], ids=["phone", "desktop"])
def test_old_data_is_warned_of(rig, look, size):
    """Five hours after the last row."""
    rig.clock.advance(5 * 3600)
    page = look(size=size)
    assert page.locator("h1").inner_text().startswith("Cannot say: what is shown here is 5 hours old.")
    assert page.locator(".stale").is_visible()


def test_dark_is_dark(look):
    """The paper is darker than the ink, also in the pictures."""
    page = look(color_scheme="dark")
    paper = page.evaluate("getComputedStyle(document.body).backgroundColor")
    lid = page.locator("section.box svg .ps-l-ink").first.evaluate("e => getComputedStyle(e).stroke")
    assert sum(map(int, re.findall(r"\d+", paper))) < 150 < 500 < sum(map(int, re.findall(r"\d+", lid)))


def test_the_night_answers_a_what_if(look):
    """Chosen with the form, answered in words and as a second curve."""
    page = look("/night/2026-04-12", size=DESKTOP)
    page.select_option("select[name=box]", "north")
    page.select_option("select[name=action]", "covered")
    page.get_by_role("button", name="Show it").click()
    assert page.locator(".advice").inner_text()
    assert page.complaints == []


@pytest.mark.parametrize("size", [PHONE, DESKTOP], ids=["phone", "desktop"])
def test_dragging_the_handle_asks_what_would_have_been(look, size):
    """Let go further left: the form has an earlier time, the other curve is drawn, nothing is scrolled."""
    page = look("/night/2026-04-12", size=size)
    page.select_option("select[name=action]", "covered")
    handle, typed = page.locator("#handle"), page.locator("input[name=at]")
    handle.scroll_into_view_if_needed()
    assert typed.input_value() == "21:00"
    assert handle.get_attribute("aria-valuetext") == "21:00"
    held = handle.bounding_box()
    axis = page.locator("g.ps-hours[data-box=north]").bounding_box()
    thumb = held["height"]
    place = float(handle.input_value()) / float(handle.get_attribute("max"))
    x = held["x"] + thumb / 2 + place * (held["width"] - thumb)
    y = held["y"] + thumb / 2
    assert axis["y"] - 30 < y < axis["y"] + 30
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x - 30, y, steps=5)
    page.mouse.up()
    sync_api.expect(page.locator(".advice")).to_contain_text("north covered at ")
    assert typed.input_value() < "21:00"
    assert f"at {typed.input_value()}:" in page.locator(".advice").inner_text()
    assert "action=covered" in page.url
    assert page.get_by_text("if covered").count() >= 1
    assert page.complaints == []


def test_the_arrow_keys_move_the_handle_and_enter_asks(look):
    """Five minutes a key; the time typed moves the handle too."""
    page = look("/night/2026-04-12", size=DESKTOP)
    handle, typed = page.locator("#handle"), page.locator("input[name=at]")
    handle.focus()
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("ArrowLeft")
    assert typed.input_value() == "20:50"
    assert page.locator(".advice").count() == 0
    page.keyboard.press("Enter")
    sync_api.expect(page.locator(".advice")).to_contain_text("north closed at 20:50")
    assert page.evaluate("document.activeElement.id") == "handle"
    typed.fill("22:17")
    assert handle.get_attribute("aria-valuetext") == "22:15"
    assert typed.input_value() == "22:17"
    assert page.complaints == []


def test_two_boxes_need_no_script(look):
    """Chosen with the form, drawn beside each other on a desktop."""
    page = look("/night/2026-04-12", size=DESKTOP, java_script_enabled=False)
    page.select_option("select[name=show]", "lane")
    page.select_option("select[name=beside]", "north")
    page.get_by_role("button", name="Put beside").click()
    first, second = (page.locator("figure.night").nth(k).bounding_box() for k in (0, 1))
    assert first["y"] == second["y"]
    assert first["x"] + first["width"] <= second["x"]


def test_the_keyboard_reaches_everything(look):
    """Tabbing from the top comes by each button, choice and link."""
    page = look()
    wanted = page.evaluate("document.querySelectorAll('a,button,select').length")
    seen = set()
    for _ in range(wanted):
        page.keyboard.press("Tab")
        seen.add(page.evaluate("document.activeElement.outerHTML"))
    assert len(seen) == wanted


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("path", PAGES)
def test_axe_finds_nothing_serious(look, path, scheme):
    """WCAG rules as axe-core checks them."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe-core is not installed")
    page = look(path, color_scheme=scheme)
    found = axe.Axe().run(page).response["violations"]
    assert [
        (v["id"], v["nodes"][0]["html"][:200]) for v in found if v["impact"] in ("serious", "critical")
    ] == []
