"""The web service over loopback: the live view beside a bare route, with streams open, and a season's chart.

Servers run in processes of their own; client and server share the machine's cores, so only the ratio of
two servers measured in turn means anything.
"""

from __future__ import annotations

import http.client
import multiprocessing
import socket
import statistics
import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from time import perf_counter, sleep
from typing import Any
from urllib.parse import urlsplit

from tests.bench.season import START_S, STEP_S, garden, stored
from tests.bench.table import Figure, best_of

from propstick.app.garden_file.settings import ApiSettings, Settings, StoreSettings
from propstick.app.live.wiring import assemble
from propstick.testing import FakeBus, HandClock

ROUNDS, REQUESTS, STREAMS = 7, 300, 200
DAYS, POINTS = 180, 500
WAIT_S = 60.0


def now() -> list[Figure]:
    """GET /v1/now, alone and with streams open, beside a bare route that returns the same bytes."""
    with tempfile.TemporaryDirectory() as folder:
        settings, row_s = _lived(Path(folder))
        with _server(_serve, settings, row_s) as service:
            body = _get(service, "/v1/now")
            with _server(_serve_bare, body) as bare:
                alone, floor = _medians((service, "/v1/now"), (bare, "/"))
                with _streams(service, STREAMS):
                    loaded, _ = _medians((service, "/v1/now"), (bare, "/"))
    ratio, under_load = alone / floor, loaded / alone
    said = f"{ratio:.2f} x ({alone * 1e6:.0f} us; bare {floor * 1e6:.0f} us, {len(body)} bytes)"
    streaming = f"{under_load:.2f} x ({loaded * 1e6:.0f} us)"
    return [
        Figure("GET /v1/now", "<= 2 x a bare endpoint", said, ratio <= 2),
        Figure(f"the same with {STREAMS} idle streams", "<= 2 x alone", streaming, under_load <= 2),
    ]


def history() -> list[Figure]:
    """The work of a season's chart, without the network: two places of one box, as the page asks."""
    from propstick_api.history import history as chart

    with tempfile.TemporaryDirectory() as folder:
        store, log, plot = stored(Path(folder), DAYS)
        span = {"from_s": START_S, "to_s": START_S + DAYS * 86_400}

        def work() -> bytes:
            return chart(log, plot, "box0", points=POINTS, **span).model_dump_json().encode()

        size = len(work())
        took_s = best_of(5, work)
        store.close()
    said = f"{took_s * 1000:.0f} ms ({size // 1024} KiB)"
    return [Figure(f"a season's chart, points={POINTS}", "<= 50 ms", said, took_s <= 0.050)]


def _lived(folder: Path) -> tuple[Settings, int]:
    """A store whose watch of seven boxes has done some rows."""
    plot = garden(7)
    settings = Settings(
        garden=plot, store=StoreSettings(url=f"sqlite:///{folder}/p.db"), path=folder / "garden.toml",
        api=ApiSettings(port=1),
    )  # fmt: skip
    clock = HandClock(START_S)
    ids = [probe.id for probe in plot.probes]
    bus = FakeBus(source=lambda t: {p: 12.0 + (t // STEP_S + k) % 7 / 16 for k, p in enumerate(ids)})
    assembly = assemble(settings, clock=clock, buses=lambda: [bus], channels={}, watches_file=False)
    row_s = START_S
    for _ in range(5):
        row = assembly.watch._rows.next_row()
        assembly.watch.do_row(row)
        row_s = row.time_s
    assembly.close()
    return settings, row_s


@contextmanager
def _server(run: Callable[..., None], *args: Any) -> Iterator[str]:
    """A server in a process of its own; gives its address."""
    ours, theirs = multiprocessing.Pipe()
    process = multiprocessing.get_context("spawn").Process(target=run, args=(theirs, *args), daemon=True)
    process.start()
    assert ours.poll(WAIT_S), "the server did not start"
    try:
        yield ours.recv()
    finally:
        ours.send("stop")
        process.join(20)


def _serve(pipe: Any, settings: Settings, row_s: int) -> None:
    from propstick_api.server import start_beside

    running = start_beside(replace(settings, api=ApiSettings(port=0)), clock=HandClock(row_s + 20))
    pipe.send(running.address)
    pipe.recv()
    running.stop()


def _serve_bare(pipe: Any, body: bytes) -> None:
    import uvicorn
    from fastapi import FastAPI, Response

    app = FastAPI(openapi_url=None)

    @app.get("/")
    async def bare() -> Response:
        return Response(body, media_type="application/json")

    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    listening.bind(("127.0.0.1", 0))
    config = uvicorn.Config(app, loop="asyncio", http="httptools", log_level="warning", access_log=False)
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()
    while not server.started:
        sleep(0.02)
    pipe.send(f"http://127.0.0.1:{listening.getsockname()[1]}")
    pipe.recv()
    server.should_exit = True
    thread.join(10)


def _connected(address: str) -> http.client.HTTPConnection:
    where = urlsplit(address)
    connection = http.client.HTTPConnection(where.hostname, where.port, timeout=WAIT_S)
    connection.connect()
    connection.sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return connection


def _get(address: str, path: str) -> bytes:
    connection = _connected(address)
    connection.request("GET", path)
    answer = connection.getresponse()
    body = answer.read()
    assert answer.status == 200, (answer.status, body)
    return body


def _medians(*asked: tuple[str, str]) -> list[float]:
    """Seconds a request on one kept connection each; the least disturbed round's median counts."""
    connections = [(_connected(address), path) for address, path in asked]
    medians: list[list[float]] = [[] for _ in asked]
    for _ in range(ROUNDS):
        for (connection, path), mine in zip(connections, medians, strict=True):
            taken = []
            for _ in range(REQUESTS):
                begun = perf_counter()
                connection.request("GET", path)
                connection.getresponse().read()
                taken.append(perf_counter() - begun)
            mine.append(statistics.median(taken))
    for connection, _ in connections:
        connection.close()
    return [min(mine) for mine in medians]


@contextmanager
def _streams(address: str, count: int) -> Iterator[None]:
    """So many event streams, each past its first event."""
    where = urlsplit(address)
    open_now = []
    for _ in range(count):
        stream = socket.create_connection((where.hostname, where.port), timeout=WAIT_S)
        stream.sendall(f"GET /v1/now/stream HTTP/1.1\r\nHost: {where.netloc}\r\n\r\n".encode())
        open_now.append(stream)
    for stream in open_now:
        received = b""
        while b"id: " not in received:
            part = stream.recv(65536)
            assert part, "a stream ended early"
            received += part
    try:
        yield
    finally:
        for stream in open_now:
            stream.close()
