"""Couriers of many desks: each desk by one at a time, none forgotten, none held up by one that hangs."""

import threading

import pytest

from propstick.app.live import courier as module
from propstick.app.live.courier import Courier


class Desk:
    def __init__(self, *, waits=None):
        self.rounds, self.at_once, self.most = 0, 0, 0
        self.done = threading.Semaphore(0)
        self.waits = waits
        self.wants = False

    def has_work(self):
        return self.wants

    def work(self):
        self.at_once += 1
        self.most = max(self.most, self.at_once)
        if self.waits is not None:
            self.waits.wait(10)
        self.at_once -= 1
        self.rounds += 1
        self.done.release()


@pytest.fixture
def courier():
    made = Courier(at_once=3)
    made.start()
    return made


def test_a_desk_called_again_while_it_is_worked_is_worked_again_and_not_twice_at_a_time(courier):
    gate = threading.Event()
    desk = Desk(waits=gate)
    for _ in range(5):
        courier.call(desk)
    gate.set()
    assert desk.done.acquire(timeout=5)
    assert desk.done.acquire(timeout=5)
    courier.part_from(desk, 5)
    assert (desk.rounds, desk.most) == (2, 1)


def test_one_that_hangs_does_not_hold_up_the_others(courier):
    gate = threading.Event()
    hanging, others = Desk(waits=gate), [Desk() for _ in range(20)]
    for desk in (hanging, *others):
        courier.call(desk)
    assert all(desk.done.acquire(timeout=5) for desk in others)
    gate.set()
    for desk in (hanging, *others):
        courier.part_from(desk, 5)
    assert hanging.rounds == 1


def test_now_and_then_those_with_work_left_are_worked_and_the_others_let_be(monkeypatch):
    monkeypatch.setattr(module, "LOOK_EVERY_S", 0.02)
    courier = Courier(at_once=1)
    courier.start()
    idle, retrying = Desk(), Desk()
    retrying.wants = True
    for desk in (idle, retrying):
        courier.call(desk)
    assert all(retrying.done.acquire(timeout=5) for _ in range(4))
    assert idle.rounds == 1
    for desk in (idle, retrying):
        courier.part_from(desk, 5)


def test_parting_waits_for_the_round_under_way_and_the_last_one_ends_the_threads(courier):
    gate = threading.Event()
    desk = Desk(waits=gate)
    courier.call(desk)
    threading.Timer(0.05, gate.set).start()
    courier.part_from(desk, 5)
    assert desk.rounds == 1
    for thread in courier._threads:
        thread.join(5)
    assert not any(thread.is_alive() for thread in courier._threads)
