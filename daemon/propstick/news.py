"""News: the few things that are not readings. Each takes effect at a row, `time_s`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from propstick.garden import Garden

TroubleKind = Literal["watch-late", "clock-unset", "store-trouble", "push-trouble"]


@dataclass(frozen=True, kw_only=True)
class GardenChanged:
    """From this row on the garden is so: boxes, probes, corrections, limits, sowings."""

    time_s: int
    garden: Garden


@dataclass(frozen=True, kw_only=True)
class LidTold:
    """A person said how far the lid is open, 0–1; None: no longer known."""

    time_s: int
    box: str
    opening: float | None


@dataclass(frozen=True, kw_only=True)
class CoverTold:
    """A person put a blanket on, or took it off."""

    time_s: int
    box: str
    on: bool


@dataclass(frozen=True, kw_only=True)
class WateredTold:
    """A person watered the box."""

    time_s: int
    box: str


@dataclass(frozen=True, kw_only=True)
class HardeningTold:
    """A person begins to harden a box off for the open, or no longer does."""

    time_s: int
    box: str
    on: bool


@dataclass(frozen=True, kw_only=True)
class Acknowledged:
    """A person has seen the alarm."""

    time_s: int
    alarm_id: str
    by: str = "person"


@dataclass(frozen=True, kw_only=True)
class Shelved:
    """A person does not want to hear of it until then; None takes it off the shelf."""

    time_s: int
    alarm_id: str
    until_s: int | None


@dataclass(frozen=True, kw_only=True)
class ServiceChanged:
    """A box (or a probe) is taken out of service, or put back."""

    time_s: int
    box: str
    in_service: bool


@dataclass(frozen=True, kw_only=True)
class Trouble:
    """The watch itself reports: late, clock unset, store or push in trouble."""

    time_s: int
    kind: TroubleKind
    active: bool
    detail: str = ""


News = (
    GardenChanged
    | LidTold
    | CoverTold
    | WateredTold
    | HardeningTold
    | Acknowledged
    | Shelved
    | ServiceChanged
    | Trouble
)
