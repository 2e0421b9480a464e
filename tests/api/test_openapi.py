"""Every route against its own description, with whatever Schemathesis makes up."""

from pathlib import Path

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from schemathesis.specs.openapi.checks import positive_data_acceptance

from propstick.app.garden_file.settings import ApiSettings, Settings, StoreSettings
from propstick.garden import Garden
from propstick.testing import HandClock
from propstick_api.app import build

EXAMPLES = 30
NOT_SAID = [positive_data_acceptance]
"""That a box must be one of the garden, and from before to, is more than a description can say."""
ENDLESS = "/v1/now/stream"
"""An event stream has no end to wait for; tests/api/test_now.py reads it."""


def _operations():
    app = build(
        Settings(garden=Garden(), store=StoreSettings(url="sqlite:///nowhere.db"), api=ApiSettings(),
                 path=Path("nowhere.toml")),
        clock=HandClock(),
    )  # fmt: skip
    paths = app.openapi()["paths"]
    return [(method, path) for path, methods in paths.items() if path != ENDLESS for method in methods]


@pytest.mark.slow
@pytest.mark.parametrize(("method", "path"), _operations(), ids=lambda part: part)
def test_every_answer_is_one_that_is_described(rig, method, path):
    """No 5xx, no undescribed status or media type, no body of another shape; bad input is refused."""
    app = rig.client(address="http://testserver").app
    operation = schemathesis.openapi.from_asgi("/v1/openapi.json", app)[path][method.upper()]

    @settings(max_examples=EXAMPLES, deadline=None, database=None, suppress_health_check=list(HealthCheck))
    @given(case=operation.as_strategy())
    def holds(case):
        case.call_and_validate(excluded_checks=NOT_SAID)

    holds()


def test_every_route_has_words_and_one_shape_of_error(client):
    """Each operation says what it does, and that errors are problem details."""
    described = client.get("/v1/openapi.json").json()
    for path, methods in described["paths"].items():
        for method, operation in methods.items():
            assert operation["description"], (method, path)
            error = operation["responses"]["default"]["content"]["application/problem+json"]
            assert error["schema"] == {"$ref": "#/components/schemas/Problem"}, (method, path)
    assert described["components"]["schemas"]["AlarmOut"]["examples"]
