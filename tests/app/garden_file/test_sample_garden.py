"""`deploy/garden.toml` is the manual: every key is in it, and every default it shows is the code's."""

import re
import tomllib
from dataclasses import fields
from datetime import time
from pathlib import Path
from typing import get_args

import pytest
from pydantic import BaseModel
from pydantic_core import PydanticUndefined

from propstick.app.garden_file.load import load, parse
from propstick.app.garden_file.models import AlarmsTable, GardenTable
from propstick.limits import DEFAULT_LIMITS, Limits

SAMPLE = Path(__file__).parents[3] / "deploy" / "garden.toml"


@pytest.fixture(scope="module")
def everything():
    """The sample with every commented key taken in."""
    text = SAMPLE.read_text("utf-8")
    return re.sub(r"(?m)^#(?=[a-z0-9_]+ = |\[)", "", text)


def keys_of(model, prefix=""):
    """Every key the models know, dotted, with its default."""
    for name, info in model.model_fields.items():
        inner = table_of(info.annotation)
        if inner is None:
            yield prefix + name, info.get_default(call_default_factory=True)
        else:
            yield from keys_of(inner, f"{prefix}{name}.")


def table_of(annotation):
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for inner in get_args(annotation) if (found := table_of(inner))), None)


def values_of(data, prefix=""):
    for key, value in data.items():
        if isinstance(value, dict):
            yield from values_of(value, f"{prefix}{key}.")
        elif isinstance(value, list) and value and isinstance(value[0], dict):
            for entry in value:
                yield from values_of(entry, f"{prefix}{key}.")
        else:
            yield prefix + key, value


def test_the_sample_is_a_good_garden_file():
    assert load(SAMPLE).garden.box_names == ("north",)


def test_every_key_of_the_code_is_in_the_sample_and_no_other(everything):
    shown = {key for key, _ in values_of(tomllib.loads(everything))}
    shown -= {key for key in shown if key.startswith("box.alarms.")}  # any key of [alarms], says the text
    assert shown == {key for key, _ in keys_of(GardenTable) if not key.startswith("box.alarms.")}


def test_every_default_shown_is_the_one_in_force(everything):
    """Keys without a default, and those the text calls an example, show an example."""
    defaults = dict(keys_of(GardenTable))
    lines = SAMPLE.read_text("utf-8").splitlines()
    for key, value in values_of(tomllib.loads(everything)):
        name = key.rsplit(".", 1)[-1]
        if key.startswith(("alarms.", "box.alarms.")):
            default = getattr(DEFAULT_LIMITS, name)
        else:
            default = defaults[key]
        if default in (None, PydanticUndefined) or is_example(lines, name):
            continue
        if isinstance(default, time):
            value = time.fromisoformat(value)
        assert value == default, key


def is_example(lines, name):
    """Whether the comment above the key says that what follows is an example."""
    at = next(k for k, line in enumerate(lines) if re.match(rf"#?{name} = ", line))
    return any("xample" in line for line in lines[max(0, at - 4) : at] if line.startswith("# "))


def test_every_key_taken_in_still_makes_a_garden(everything, tmp_path):
    """So no example is one that the code refuses."""
    for name in ("phone.url", "mqtt.password", "heartbeat.url"):
        (tmp_path / name).write_text("json://127.0.0.1:1/x")
        (tmp_path / name).chmod(0o600)
    text = re.sub(r"(?m)^heartbeat_url = .*$", "", everything)
    settings = parse(text, tmp_path / "garden.toml")
    assert settings.push.targets[1].to == "helper"
    assert settings.mqtt is not None


def test_the_alarm_tables_know_every_limit():
    """A limit the engine has and the file cannot set would be a default nobody can change."""
    assert set(AlarmsTable.model_fields) == {field.name for field in fields(Limits)}
