"""Room kept back beside the store."""

import shutil

from propstick.edges.reserve import Reserve

MIB = 2**20


def test_it_takes_its_room_on_the_disk_and_gives_it_back(tmp_path):
    """Blocks, not only a length: a sparse file would keep nothing."""
    reserve = Reserve(tmp_path / "w.db", size=4 * MIB)
    assert reserve.hold(spare=0)
    file = tmp_path / "w.db.reserve"
    assert file.stat().st_blocks * 512 >= 4 * MIB
    assert file.stat().st_mode & 0o077 == 0
    assert reserve.hold(spare=0)
    assert reserve.give_up()
    assert not file.exists()
    assert not reserve.give_up()


def test_it_is_not_kept_where_room_is_short(tmp_path):
    free = shutil.disk_usage(tmp_path).free
    assert not Reserve(tmp_path / "w.db", size=4 * MIB).hold(spare=free)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_there_keeps_nothing(tmp_path):
    assert not Reserve(tmp_path / "nowhere" / "w.db").hold(spare=0)
