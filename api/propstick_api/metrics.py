"""The last row as OpenMetrics, for programs that keep their own records."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from fastapi import APIRouter, Response

from propstick_api.deps import ServiceDep
from propstick_api.live import Health

router = APIRouter(tags=["metrics"])

MEDIA_TYPE = "application/openmetrics-text"
CONTENT_TYPE = f"{MEDIA_TYPE}; version=1.0.0; charset=utf-8"


class MetricsResponse(Response):
    """For the interface's description."""

    media_type = MEDIA_TYPE


@router.get("/metrics", response_class=MetricsResponse)
async def metrics(service: ServiceDep) -> Response:
    """Values, lids, limits and open alarms of the last row; how old it is. Missing values are left out."""
    live = service.live
    view = live.board.view if live.board is not None else None
    return Response(metrics_of(view, live.health(), streams=live.streams), media_type=CONTENT_TYPE)


def metrics_of(view: dict[str, Any] | None, health: Health, *, streams: int) -> bytes:
    """The exposition text."""
    from prometheus_client import CollectorRegistry
    from prometheus_client.openmetrics.exposition import generate_latest

    registry = CollectorRegistry(auto_describe=False)
    registry.register(_Row(view, health, streams))
    return generate_latest(registry)


class _Row:
    """One row as families of samples, made when asked."""

    def __init__(self, view: dict[str, Any] | None, health: Health, streams: int) -> None:
        self._view, self._health, self._streams = view, health, streams

    def collect(self) -> list[Any]:
        from prometheus_client.core import GaugeMetricFamily as Gauge

        watch = Gauge("propstick_watch_up", "1 while the watch is on time")
        watch.add_metric([], float(self._health.is_good))
        streams = Gauge("propstick_streams", "Event streams open")
        streams.add_metric([], self._streams)
        if self._view is None:
            return [watch, streams]
        row = Gauge("propstick_row_timestamp_seconds", "Time of the last row", unit="seconds")
        row.add_metric([], datetime.fromisoformat(self._view["time"]).timestamp())
        return [watch, streams, row, *self._places(), *self._boxes(), self._alarms()]

    def _places(self) -> list[Any]:
        from prometheus_client.core import GaugeMetricFamily as Gauge

        warm = Gauge(
            "propstick_temperature_celsius", "Median of a place's good probes", labels=["box", "place"]
        )
        damp = Gauge("propstick_humidity_ratio", "Relative humidity, 0 to 1", labels=["box"])
        outside = self._view["outside"]
        for box in (*self._view["boxes"], *([outside] if outside else [])):
            for place in ("air", "soil"):
                if (value := box[place]["value"]) is not None:
                    warm.add_metric([box["box"], place], value)
            if (value := box["humidity"]["value"]) is not None:
                damp.add_metric([box["box"]], value / 100)
        return [warm, damp]

    def _boxes(self) -> list[Any]:
        from prometheus_client.core import GaugeMetricFamily as Gauge

        lid = Gauge("propstick_lid_opening_ratio", "0 closed to 1 fully open", labels=["box"])
        limit = Gauge("propstick_limit_celsius", "Limits in force", labels=["box", "limit"])
        for box in self._view["boxes"]:
            if box["lid"]["opening"] is not None:
                lid.add_metric([box["box"]], box["lid"]["opening"])
            for name, value in box["limits"].items():
                if value is not None:
                    limit.add_metric([box["box"], name.removesuffix("_c")], value)
        return [lid, limit]

    def _alarms(self) -> Any:
        from prometheus_client.core import GaugeMetricFamily as Gauge

        open_now = Gauge("propstick_alarms", "Open alarms", labels=["box", "kind", "state"])
        counts: dict[tuple[str, str, str], int] = {}
        for alarm in self._view["alarms"]:
            key = (alarm["box"], alarm["kind"], alarm["state"])
            counts[key] = counts.get(key, 0) + 1
        for key, count in counts.items():
            open_now.add_metric(list(key), count)
        return open_now
