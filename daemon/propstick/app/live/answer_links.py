"""Puts a link into a notice by which it can be answered from the phone that got it."""

from __future__ import annotations

import logging
from collections import OrderedDict

from propstick.edges.answers import Answers
from propstick.errors import StoreError
from propstick.ports import Clock
from propstick.records import Notice
from propstick.times import DAY_S

log = logging.getLogger(__name__)

LASTS_S = DAY_S
"""So long a link is good; later, the page itself has to be opened. Our choice."""
_REMEMBERED = 64


def no_link(_notice: Notice) -> None:
    """Where no address is set at which a phone could reach the page."""
    return


class AnswerLinks:
    """Called with a notice, gives its link, or None where there is nothing to acknowledge.

    The same notice gets the same link on every channel and every try, as long as this process lives.

    Args:
        address: How a phone reaches the page, such as `http://pi.local:8460`.
    """

    def __init__(self, answers: Answers, address: str, clock: Clock) -> None:
        self._answers = answers
        self._address = address.rstrip("/")
        self._clock = clock
        self._links: OrderedDict[str, str] = OrderedDict()

    def __call__(self, notice: Notice) -> str | None:
        """The link; issued with the first call for a notice."""
        if not notice.alarm_ids:
            return None
        if notice.id not in self._links:
            try:
                token = self._answers.issue(
                    notice.alarm_ids, now_s=int(self._clock.wall_s()), lasts_s=LASTS_S
                )
            except StoreError as error:  # a notice without a link is worth more than none
                log.warning("answer-link-refused reason=%r", error.message)
                return None
            self._links[notice.id] = f"{self._address}/answer/{token}"
            if len(self._links) > _REMEMBERED:
                self._links.popitem(last=False)
        return self._links[notice.id]
