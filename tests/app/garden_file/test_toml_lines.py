"""Positions of keys in a TOML text."""

import pytest

from propstick.app.garden_file.toml_lines import Lines

TEXT = """\
top = 1
[a]
"quoted key" = 2
b.c = 3
[[box]]
name = "x"   # [not a table]
[box.alarms]
heat_c = 1
[[box]]
name = "]"
  [box.alarms]
  heat_c = 2
[push]
urls = [
  "json://a",  # comment with ]
  { name = "n", url = "u" },
]
after = 1
"""


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("top",), 1),
        (("a", "quoted key"), 3),
        (("a", "b", "c"), 4),
        (("box", 0, "name"), 6),
        (("box", 0, "alarms", "heat_c"), 8),
        (("box", 1), 9),
        (("box", 1, "alarms", "heat_c"), 12),
        (("push", "urls"), 14),
        (("push", "urls", 1, "url"), 14),
        (("push", "after"), 18),
        (("box", 1, "alarms", "not there"), 11),
    ],
)
def test_a_key_is_found_on_its_line(path, line):
    """A key that is not there has the line of the table around it."""
    assert Lines(TEXT).of(path) == line


def test_the_last_line_of_a_table():
    assert Lines(TEXT).last_of(("box", 0)) == 8
