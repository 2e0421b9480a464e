"""Receipts of notices: held by one at a time, kept as long as they may be asked for."""

import errno
import os
import threading
import time

from propstick.edges import receipts as receipts_module
from propstick.edges.receipts import Receipts
from propstick.times import DAY_S


def test_signed_once_is_signed_for_whoever_comes_later(tmp_path):
    receipts = Receipts(tmp_path / "r")
    with receipts.of("phone", "north/heat/1") as first:
        assert not first.is_signed()
        first.sign()
    with Receipts(tmp_path / "r").of("phone", "north/heat/1") as later:
        assert later.is_signed()
    with receipts.of("phone", "north/heat/2") as other:
        assert not other.is_signed()


def test_whoever_comes_second_waits_for_the_first(tmp_path):
    receipts, order = Receipts(tmp_path), []

    def second():
        with receipts.of("phone", "a") as receipt:
            order.append(receipt.is_signed())

    with receipts.of("phone", "a") as first:
        waiting = threading.Thread(target=second)
        waiting.start()
        time.sleep(0.1)
        assert order == []
        first.sign()
    waiting.join(5)
    assert order == [True]


def test_receipts_nobody_can_ask_for_any_more_are_thrown_away(tmp_path):
    receipts = Receipts(tmp_path)
    with receipts.of("phone", "old") as receipt:
        receipt.sign()
    (old,) = tmp_path.iterdir()
    os.utime(old, (time.time() - 2 * DAY_S,) * 2)
    with receipts.of("phone", "young") as receipt:
        receipt.sign()
    assert not old.exists()
    with receipts.of("phone", "young") as receipt:
        assert receipt.is_signed()


def test_a_disk_that_refuses_is_no_fault(tmp_path):
    (tmp_path / "file").write_text("")
    with Receipts(tmp_path / "file").of("phone", "a") as receipt:
        assert not receipt.is_signed()
        receipt.sign()
        assert not receipt.is_signed()


def test_a_file_system_without_locks_is_no_fault(tmp_path, monkeypatch):
    def refuses(*_):
        raise OSError(errno.ENOLCK, "no locks available")

    monkeypatch.setattr(receipts_module.fcntl, "flock", refuses)
    with Receipts(tmp_path).of("phone", "a") as receipt:
        receipt.sign()
        assert not receipt.is_signed()
