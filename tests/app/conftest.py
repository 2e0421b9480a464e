"""Invented readings that several tests of replay share."""

from datetime import UTC, datetime, timedelta
from math import exp, pi, sin

import pytest

SITE = "53.35,-6.26,Europe/Dublin"


def _values(moment):
    hour = moment.hour + moment.minute / 60
    # Coldest at about 05:30, warmest at about 15:00 UTC.
    outside = 5.5 + 5.5 * sin(2 * pi * (hour - 9.5) / 24) + 0.3 * sin(hour * 7)
    sun = max(0.0, sin(pi * (hour - 5.7) / 13.6)) if 5.7 < hour < 19.3 else 0.0
    north = outside + 0.5 + 22 * sun**1.3 + 0.25 * sin(hour * 11)
    soil = 8.5 + 2 * sin(2 * pi * (hour - 13) / 24)
    lid = 0.1 if 15 <= hour < 17 else 0
    return (
        outside,
        north - (6 * exp(-((hour - 16) ** 2)) if lid else 0),
        soil,
        lid,
        int(hour >= 20 or hour < 6.5),
    )


@pytest.fixture(scope="session")
def spring_csv():
    """Gives the text of a recording: two mild days and nights in April, one box, a reading a minute."""

    def text(*, hours=44, step_s=60, unit="C"):
        start = datetime(2026, 4, 11, 12, tzinfo=UTC)
        lines = ["time,outside.air,north.air,north.soil,north.lid,north.cover"]
        for k in range(hours * 3600 // step_s + 1):
            moment = start + timedelta(seconds=step_s * k)
            *warm, lid, cover = _values(moment)
            rounded = [round(v, 2) for v in warm]
            cells = ",".join(f"{v:.2f}" if unit == "C" else f"{1.8 * v + 32:.3f}" for v in rounded)
            lines.append(f"{moment:%Y-%m-%dT%H:%M:%SZ},{cells},{lid},{cover}")
        return "\n".join(lines) + "\n"

    return text


@pytest.fixture(scope="session")
def spring_report(spring_csv):
    """Those two days replayed once for all tests that only look."""
    from propstick.app import recording
    from propstick.app.replay.garden import garden_of, site_of
    from propstick.app.replay.run import replay

    found = recording.read(spring_csv().encode())
    return replay(found, garden_of(found, site=site_of(SITE, unit="C")))
