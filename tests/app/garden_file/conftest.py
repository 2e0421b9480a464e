"""Garden files written and refused."""

import pytest
from tests.app.garden_file.garden_text import GOOD

from propstick.app.garden_file.load import load
from propstick.errors import ConfigError


@pytest.fixture
def written(tmp_path):
    """Writes a garden file and returns its path."""

    def write(text, name="garden.toml"):
        file = tmp_path / name
        file.write_text(text, "utf-8")
        return file

    return write


@pytest.fixture
def refused(written):
    """The error for a good file with a text added, or with a replacement."""

    def refuse(added="", *, change=("", "")):
        with pytest.raises(ConfigError) as caught:
            load(written(GOOD.replace(*change) + added))
        return caught.value

    return refuse
