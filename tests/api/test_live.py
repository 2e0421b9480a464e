"""The board: made once a row however many look on, and who waits for it."""

import anyio
import pytest

from propstick_api import live as module
from propstick_api.deps import Door, Stores
from propstick_api.live import Live


@pytest.fixture
def live(rig):
    """A live board that looks only when told."""
    stores = Stores()
    yield Live(Door(rig.settings, stores), clock=rig.clock, step_s=300)
    stores.close()


def test_a_row_is_read_once_however_often_one_looks(live, monkeypatch):
    """Only a new row, request or sowing makes the board anew."""
    made = []
    completed = module.completed
    monkeypatch.setattr(module, "completed", lambda *a: made.append(1) or completed(*a))

    async def looks():
        for _ in range(5):
            await live.look()

    anyio.run(looks)
    assert len(made) == 1


@pytest.mark.parametrize("change", ["request", "sowing", pytest.param("row", marks=pytest.mark.slow)])
def test_what_moves_the_board(rig, live, change):
    """Each of the three is seen at the next look."""

    async def looks():
        await live.look()
        before = live.version
        if change == "row":
            rig.live_rows()
        elif change == "request":
            rig.site().requests.add("lid", {"box": "north", "opening": 1}, by="test")
        else:
            rig.site().sowings.add({"crop": "kale", "box": "lane"}, by="test")
        await live.look()
        return before, live.version

    before, after = anyio.run(looks)
    assert after == before + 1
    assert len(live.board.view["asked"]) == (1 if change == "request" else 0)


def test_all_who_wait_are_told_at_once(rig, live):
    """One change wakes every stream; at the end all go."""

    async def wait_for_it():
        await live.look()
        got = []

        async def one():
            got.append((await live.after(live.version)).row_s)
            got.append(await live.after(live.version))

        async with anyio.create_task_group() as group:
            for _ in range(20):
                group.start_soon(one)
            await anyio.wait_all_tasks_blocked()
            rig.site().requests.add("watered", {"box": "north"}, by="test")
            await live.look()
            await anyio.wait_all_tasks_blocked()
            assert len(got) == 20
            live.end_streams()
        return got

    assert anyio.run(wait_for_it) == [1_776_066_900] * 20 + [None] * 20


def test_a_store_in_trouble_keeps_the_board_and_says_so(rig, live, monkeypatch):
    """What was known is still shown, with a word about it; it mends by itself."""
    from propstick.errors import StoreError

    def broken():
        raise StoreError("store: disk gone")

    async def looks():
        await live.look()
        door = live._door
        live._door = broken
        await live.look()
        said = live.health()
        live._door = door
        await live.look()
        return said

    said = anyio.run(looks)
    assert (said.status, said.detail) == ("store-trouble", "store: disk gone")
    assert live.board is not None
    assert live.health().is_good


def test_one_of_many_is_looked_at_only_while_somebody_asks(rig, monkeypatch):
    """Woken it knows the newest row at once; a minute after the last question it is let be."""
    monkeypatch.setattr(module, "LOOK_EVERY_S", 0.01)
    monkeypatch.setattr(module, "REST_AFTER_S", 0.1)
    monkeypatch.setattr(module, "STALE_S", 0.03)
    stores = Stores()
    live = Live(Door(rig.settings, stores), clock=rig.clock, step_s=300, rests=True)
    looks = []
    look = live.look
    monkeypatch.setattr(live, "look", lambda: looks.append(1) or look())

    async def lives():
        await live.start()
        assert looks == []
        await live.wake()
        assert live.board is not None
        first = live.board.row_s
        with anyio.fail_after(5):
            await live._task
        rested = len(looks)
        await anyio.sleep(0.1)
        assert len(looks) == rested > 1
        rig.live_rows(1)
        await live.wake()
        assert live.board.row_s > first
        await live.stop()

    anyio.run(lives)
    stores.close()
