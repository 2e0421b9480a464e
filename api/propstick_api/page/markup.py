"""HTML as text, made so that nothing a person typed can become markup: everything is escaped but `Safe`."""

from __future__ import annotations

from html import escape

_EMPTY = frozenset({"input", "link", "meta", "br"})


class Safe(str):
    """Markup of our own making; shown as it is."""

    __slots__ = ()


def join(*parts: str | None, between: str = "") -> Safe:
    """Parts one after the other, each escaped unless it is `Safe`; None is left out."""
    return Safe(shown(between).join(shown(part) for part in parts if part is not None))


def shown(part: str) -> Safe:
    """A part as it may stand in the page."""
    return part if isinstance(part, Safe) else Safe(escape(part))


def tag(name: str, /, *children: str | None, **attributes: str | bool | None) -> Safe:
    """An element. `class_` loses its `_`, others write it as `-`; None and False are left out."""
    said = "".join(_attribute(key, value) for key, value in attributes.items())
    if name in _EMPTY:
        return Safe(f"<{name}{said}>")
    return Safe(f"<{name}{said}>{join(*children)}</{name}>")


def _attribute(key: str, value: str | bool | None) -> str:
    if value is None or value is False:
        return ""
    name = key.removesuffix("_").replace("_", "-")
    return f" {name}" if value is True else f' {name}="{escape(value)}"'
