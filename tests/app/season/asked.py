"""What the tests of the season ask for again and again."""

from datetime import UTC, datetime

from propstick.app.season.report import season_report


def at(kept, month, day, **changes):
    now_s = int(datetime(2013, month, day, 18, tzinfo=UTC).timestamp())
    return season_report(kept.store, kept.garden, now_s, **changes)


def batch(report, number):
    return next(one for one in report.batches if one.sowing.id == number)
