"""What every page of ours has around its own part."""

from __future__ import annotations

from fastapi.responses import HTMLResponse

from propstick_api.page import words
from propstick_api.page.markup import Safe, join, tag

STYLE, SCRIPT, NIGHT_SCRIPT = "/static/propstick.css", "/static/live.js", "/static/night.js"
_WAYS = (("/", words.HOME), ("/nights", words.NIGHTS), ("/season", words.SEASON))
ICON = (
    "data:image/svg+xml,%3Csvg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 16 16'%3E"
    "%3Cpath d='M2 15V9M14 15v-3M2 9L12 2' stroke='%237d5c34' stroke-width='2.5'/%3E%3C/svg%3E"
)
"""A frame with its lid up."""
RENEW_S = 60


def page(
    title: str, body: Safe, *, here: str = "", is_live: bool = False, script: str = "", status: int = 200
) -> HTMLResponse:
    """A whole page.

    Args:
        here: Which of the ways at its foot this is.
        is_live: Whether it follows the watch; without script it is read anew every minute.
        script: Address of one that helps on it.
    """
    more = [tag("link", rel="icon", href=ICON)]
    if is_live:
        more.append(tag("noscript", tag("meta", http_equiv="refresh", content=str(RENEW_S))))
        script = SCRIPT
    if script:
        more.append(tag("script", Safe(""), src=script, defer=True))
    ways = [tag("a", word, href=href, aria_current="page" if href == here else None) for href, word in _WAYS]
    line = tag("p", id="line", role="status", data_lost=words.LOST, data_back=words.BACK) if is_live else None
    whole = tag(
        "body",
        tag("a", words.SKIP, class_="skip", href="#main"),
        line,
        tag("main", body, id="main", tabindex="-1"),
        tag("nav", *ways, aria_label=words.WAYS),
        tag("noscript", tag("p", words.NO_SCRIPT, class_="quiet")) if is_live else None,
    )
    return _document(title, more, whole, status=status)


def small_page(title: str, body: Safe, *, status: int = 200) -> HTMLResponse:
    """A page with a form or an answer and nothing else: who sees it may not be let in any further."""
    whole = tag("body", tag("main", tag("h1", title), body), class_="form")
    return _document(words.SMALL_TITLE.format(title=title), [], whole, status=status)


def _document(title: str, more: list[Safe], body: Safe, *, status: int) -> HTMLResponse:
    head = tag(
        "head",
        tag("meta", charset="utf-8"),
        tag("meta", name="viewport", content="width=device-width,initial-scale=1"),
        tag("title", title),
        tag("link", rel="stylesheet", href=STYLE),
        *more,
    )
    whole = join(Safe("<!doctype html>"), tag("html", head, body, lang=words.LANG))
    return HTMLResponse(whole, status_code=status)


def table(caption: str, heads: list[str], rows: list[list[str]], *, is_section: bool = False) -> Safe:
    """A table whose first column names its rows; wide ones scroll by themselves.

    Args:
        is_section: Whether its caption is a heading of the page, above it and not scrolled with it.
    """
    head = tag("thead", tag("tr", *(tag("th", text, scope="col") for text in heads)))
    body = [tag("tr", tag("th", row[0], scope="row"), *(tag("td", cell) for cell in row[1:])) for row in rows]
    inner = tag("table", None if is_section else tag("caption", caption), head, tag("tbody", *body))
    wide = tag("div", inner, class_="wide", tabindex="0", role="region", aria_label=caption)
    return join(tag("h2", caption), wide) if is_section else wide
