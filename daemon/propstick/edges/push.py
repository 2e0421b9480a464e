"""Hands one notice to one address through apprise, and says how it went.

apprise is imported with the first notice, not with the watch: it costs a quarter of a second and some
20 MiB, and most days need no push.
"""

from __future__ import annotations

import logging
import re
from typing import TYPE_CHECKING

from propstick.ports import Delivery
from propstick.records import Notice

if TYPE_CHECKING:
    from apprise import NotifyBase

log = logging.getLogger(__name__)

DEADLINE_S = 12.0
"""A second mail within seconds waits 5.5 s inside apprise; a silent server takes 8."""
_STATUS = re.compile(r"error=(\d{3})")
_URGENT = frozenset({"Immediate", "Expected"})


class AppriseChannel:
    """One address in apprise's notation.

    Args:
        url: Holds secrets: never logged, never part of a result.
        name: What the outbox and the log call it.
    """

    def __init__(self, url: str, name: str) -> None:
        self.name = name
        self._url = url
        self._target: NotifyBase | None = None

    def __repr__(self) -> str:
        return f"AppriseChannel({self.name!r}, ***)"

    def is_understood(self) -> bool:
        """Whether apprise knows what to do with the address; sends nothing."""
        return self._find_target() is not None

    def send(self, notice: Notice, *, link: str | None = None) -> Delivery:
        """Hands the notice over. Never raises; blocks at most some ten seconds.

        Only an address that cannot be understood is final. Whatever a server says, another day it
        may say otherwise, and a frost warning is worth asking again.
        """
        try:
            return self._send(notice, link)
        except Exception as error:  # a plugin's fault is a failed delivery
            log.warning("push-fault channel=%s kind=%s", self.name, type(error).__name__)
            return Delivery(ok=False, detail=f"apprise failed with {type(error).__name__}")

    def _send(self, notice: Notice, link: str | None) -> Delivery:
        target = self._find_target()
        if target is None:
            return Delivery(ok=False, detail="the address is not one apprise understands", final=True)
        import apprise

        desk = apprise.Apprise(asset=target.asset)
        desk.add(target)
        with apprise.LogCapture(level=logging.WARNING, fmt="%(message)s") as said:
            result = desk.notify(
                title=_title(notice),
                body=f"{notice.text}\n{link}" if link else notice.text,
                notify_type=apprise.NotifyType.WARNING
                if notice.urgency in _URGENT
                else apprise.NotifyType.INFO,
                timeout=DEADLINE_S,
            )
            complaint = said.getvalue()
        if result:
            return Delivery(ok=True)
        return Delivery(ok=False, detail=_reason(complaint))

    def _find_target(self) -> NotifyBase | None:
        if self._target is None:
            import apprise

            asset = apprise.AppriseAsset(
                app_id="Propstick",
                app_desc="Propstick",
                app_url="",
                async_mode=False,
                storage_mode=apprise.PersistentStoreMode.MEMORY,
                secure_logging=True,
            )
            self._target = apprise.Apprise.instantiate(self._url, asset=asset, suppress_exceptions=True)
        return self._target


def _title(notice: Notice) -> str:
    """Whose lid: enough to decide whether to look."""
    return ", ".join(notice.boxes)[:60] or "Propstick"


def _reason(complaint: str) -> str:
    """Why it failed, without anything of the address: apprise's own words may quote it."""
    status = _STATUS.search(complaint)
    if status:
        return f"the server answered {status[1]}"
    return "no answer" if re.search(r"connection|timed? ?out|occurred", complaint, re.I) else "not delivered"
