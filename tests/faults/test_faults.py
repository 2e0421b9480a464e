"""The fault harness in its short form; the long one is `python -m tests.faults`."""

import shutil

import pytest
from tests.faults import away, kills, migration, power, season, takeover, takeover_postgres
from tests.servers import NotInstalled

needs_cc = pytest.mark.skipif(shutil.which("cc") is None, reason="no C compiler to note writes with")


def broken(figures):
    return [f"{figure.what}: {figure.measured}" for figure in figures if not figure.holds]


@pytest.mark.slow
@needs_cc
def test_a_power_cut_loses_nothing_that_was_synced():
    """Thirty disks as they may stand after a cut, with unsynced sectors there, missing or torn."""
    assert broken(power.power(30)) == []


@pytest.mark.slow
@needs_cc
def test_a_disk_that_lies_about_its_syncs_is_found_out():
    """The same test must be able to fail: a synced sector that is gone shows."""
    assert broken(power.power(10, honest=False))


@pytest.mark.slow
def test_the_daemon_killed_at_random_loses_and_doubles_nothing():
    """Six times SIGKILL on the real process, with a backup beside it now and then."""
    assert broken(kills.kills(6)) == []


@pytest.mark.slow
def test_a_day_of_faults_at_random():
    """Probes that vanish, storms, a gone bus, a phone that refuses, a jumping clock, deaths, a full disk."""
    figures = season.sixty_days(1, seed=3)
    # What is written once, whatever the days, weighs too much on one day.
    assert broken(figures[:4]) == []


@pytest.mark.slow
def test_a_second_daemon_is_refused_and_takes_over_from_a_dead_one():
    """On one machine nobody waits for a lease to run out: that its holder is gone can be seen."""
    assert broken(takeover.takeover(1)) == []


@pytest.mark.slow
@pytest.mark.broker
def test_a_second_daemon_on_postgresql_takes_the_sites_of_a_dead_one():
    """Standing by for a folder of sites; the broker keeps what comes meanwhile."""
    try:
        figures = takeover_postgres.takeover_postgres(1, elsewhere=False)
    except NotInstalled as missing:
        pytest.skip(str(missing))
    # In so short a life the wave may not have reached the limit, so that nothing was told.
    assert [said for said in broken(figures) if "0 of 0" not in said] == []


@pytest.mark.slow
def test_a_migration_killed_at_random_leaves_the_old_store_or_the_new():
    """Four times SIGKILL on the migrating daemon, then a start that is left alone; two that come at once."""
    assert broken(migration.migration(4, pairs=2)) == []


@pytest.mark.slow
def test_a_day_without_broker_and_network():
    """Wired boxes are watched throughout; nothing old rings afterwards, nothing twice."""
    assert broken(away.away()) == []
