"""Tables of every kind people have: read one way only and said so, or refused with file, line and column."""

import numpy as np
import pytest

from propstick.app import recording
from propstick.blocks import Flag
from propstick.errors import InputError

SEMICOLONS = "time;north.air;outside.air\n2026-04-12T18:00:00Z;9,5;4,25\n2026-04-12T18:01:00Z;9,4;\n"
SPLIT = "time,north.air\n2026-04-12T18:00:00Z,9,5\n2026-04-12T18:01:00Z,9,4\n"
YEARS = "time,north.air\n" + "".join(f"{y}-01-01T00:00:00Z,9\n" for y in range(2001, 2026))
ROWS = "2026-04-12T18:00:00Z,9.5,4.25\n2026-04-12T18:01:00Z,9.4,\n"
PLAIN = "time,north.air,outside.air\n" + ROWS


def cells(text, **options):
    """Each reading as (column, minute, value, flags), and the recording."""
    found = recording.read(text.encode() if isinstance(text, str) else text, **options)
    c = found.columns
    return [
        (
            c.probes[column],
            (int(time) - 1_776_016_800_000) // 60_000,
            None if np.isnan(raw) else round(float(raw), 3),
            Flag(int(flag)),
        )
        for column, time, raw, flag in zip(c.column, c.time_ms, c.raw, c.flags, strict=True)
    ], found


GOOD = [("north.air", 0, 9.5, 0), ("outside.air", 0, 4.25, 0), ("north.air", 1, 9.4, 0)]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (PLAIN, ""),
        (PLAIN.replace("\n", "\r\n"), ""),
        (PLAIN.replace("\n", "\r"), ""),
        (PLAIN.rstrip("\n"), ""),
        ("\n# logger 7\n\n" + PLAIN, ""),
        (SEMICOLONS, "decimal commas"),
        (PLAIN.replace(",", "\t"), "tabs"),
        ("sep=;\n" + PLAIN.replace(",", ";"), "semicolons"),
        (PLAIN.replace("9.5", '"9.5"').replace("north.air", '"north.air"'), ""),
        (PLAIN.replace("9.5", '"9,5"'), "decimal commas"),
        (PLAIN.replace("air\n", "air,\n").replace("4.25\n", "4.25,\n"), "separator ends"),
        (PLAIN.replace("9.4,", "9.4"), "fewer cells"),
        (PLAIN.replace("Z,9.5", "Z,9.5 ").replace("4.25", " 4.25"), ""),
        (PLAIN.replace("9.5", "+9.5").replace("4.25", "42.5e-1"), ""),
        (PLAIN.replace("north.air", "North.Air").replace("time", "Time"), "small letters"),
        (PLAIN + "time,north.air,outside.air\n", ""),
    ],
)  # fmt: skip
def test_every_dress_of_the_same_table_reads_alike(text, said):
    """Separators, decimal commas, quotes, line ends, comments, trailing separators, repeated headers."""
    found, whole = cells(text)
    assert found == GOOD
    assert said in " ".join(whole.remarks)


@pytest.mark.parametrize(
    "bad",
    ["abc", "NaN", "nan", "inf", "-Infinity", "1e400", "1_0", "12..5", "1,2,3", "9.5C", "9\0", "--", "0x10"],
)
def test_what_is_no_number_is_flagged_and_has_no_value(bad):
    """The cell is counted; the rest of the row stands."""
    text = PLAIN.replace(",", ";").replace("9.5", bad)
    found, _ = cells(text)
    assert found == [("north.air", 0, None, Flag.NOT_A_NUMBER), *GOOD[1:]]


def test_typographers_minus_is_a_minus():
    """U+2212, as spreadsheets export it."""
    assert cells(PLAIN.replace("9.5", "\u22122.5"))[0][0][2] == -2.5


def test_huge_figures_do_no_harm():
    """An integer of four hundred digits is no number; 10^300 is one, out of any range."""
    assert cells(PLAIN.replace("9.5", "9" * 400))[0][0][3] == Flag.NOT_A_NUMBER
    assert cells(PLAIN.replace("9.5", "1e300"))[0][0][3] == Flag.RANGE


@pytest.mark.parametrize(
    ("text", "where", "what"),
    [
        ("time,north.air\n", "line 1, column time", "rows of readings"),
        ("north.air,time\n9,2026-04-12T18:00:00Z\n", "line 1, column 1", "'time' as the first column"),
        ("time\n2026-04-12T18:00:00Z\n", "line 1, column 2", "no column beside time"),
        ("# only\n\n", "line 1", "no line of column names"),
        ("time,north.air,north.air\n" + ROWS, "line 1, column 3", "a second time"),
        ("time,north.air,,outside.air\n" + ROWS, "line 1, column 3", "<box>.<place>"),
        ("time,north.air\n12/04/2026 18:00,9\n", "line 2, column time", "RFC 3339"),
        (SPLIT, "line 2, column 3", "3 cells"),
        ("time,north.air\n2026-04-12T18:00:00Z,warm\n", "line 2, column 2 (north.air)", "a number"),
        ("time,north.air\n2026-04-12T18:00:00Z,\n", "column 2", "no reading"),
        ("time,north.air\n1970-01-01T00:00:00Z,9\n", "column time", "believable"),
        (YEARS, "column time", "15 years"),
    ],
)  # fmt: skip
def test_refused_in_one_line_that_says_where(text, where, what):
    """File, line, column, what was found or expected."""
    with pytest.raises(InputError) as refused:
        recording.read(text.encode())
    assert where in refused.value.message
    assert what in refused.value.message
    assert "\n" not in refused.value.message


def test_a_garbled_line_among_good_ones_costs_that_line_only():
    """Too many cells, or no time: flagged and said with its line, the rest stands."""
    text = PLAIN + "2026-04-12T18:02:00Z,9.3,4,7,7\n???,9.2,4\n2026-04-12T18:04:00Z,9.1,4\n"
    found, whole = cells(text)
    assert found[3:5] == [
        ("north.air", 2, None, Flag.NOT_A_NUMBER),
        ("outside.air", 2, None, Flag.NOT_A_NUMBER),
    ]
    assert found[5:] == [("north.air", 4, 9.1, 0), ("outside.air", 4, 4.0, 0)]
    assert (whole.untimed, whole.cells) == (2, 9)
    assert any("line 4" in remark for remark in whole.remarks)
    assert any("'???', line 5" in remark for remark in whole.remarks)


def test_a_stray_quote_costs_its_line_only():
    """An open quotation mark does not swallow the rows below it."""
    found, _ = cells(PLAIN.replace("9.5", '"9.5') + "2026-04-12T18:02:00Z,9.3,4\n")
    assert found[-2:] == [("north.air", 2, 9.3, 0), ("outside.air", 2, 4.0, 0)]


def test_the_last_cell_of_a_line_that_breaks_off_is_not_used():
    """Cut by a power cut, `12` may have been 12.7 or 120."""
    found, whole = cells(PLAIN + "2026-04-12T18:02:00Z,12")
    assert found == GOOD
    assert "breaks off; its last cell is not used, line 4" in whole.remarks[0]


def test_rows_that_run_backwards_are_turned():
    """Newest first, as some exports are: nothing is late."""
    head, first, second = PLAIN.splitlines(keepends=True)
    found, whole = cells(head + second + first)
    assert sorted(found) == sorted(GOOD)
    assert "backwards" in whole.remarks[0]


def test_many_lines_keep_their_numbers():
    """Beyond the first chunk a remark still names the line an editor shows."""
    lines = [f"2026-04-{12 + k // 1440:02d}T{k // 60 % 24:02d}:{k % 60:02d}:00Z,9" for k in range(25_000)]
    lines[24_000] = "broken,9"
    whole = recording.read(("time,north.air\n" + "\n".join(lines) + "\n").encode())
    assert "line 24002" in whole.remarks[0]
    assert (len(whole.columns), whole.untimed) == (24_999, 1)


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("north.air (°C)", "C"),
        ("north.air [°F]", "F"),
        ("north.air (deg F)", "F"),
        ("North.Air °F", "F"),
        ("north.air (Fahrenheit)", "F"),
        ("north.air(F)", "F"),
    ],
)
@pytest.mark.parametrize("given", ["C", "F"])
def test_a_unit_in_the_columns_name_counts(name, unit, given):
    """The column knows better than the option, which is for the others; 50 °F is 10 °C (definition)."""
    found = recording.read(f"time,{name},north.soil\n2026-04-12T18:00:00Z,50,50\n".encode(), unit=given)
    air, soil = found.columns.raw.round(3).tolist()
    assert found.columns.probes == ("north.air", "north.soil")
    assert air == (10.0 if unit == "F" else 50.0)
    assert soil == (10.0 if given == "F" else 50.0)
    assert f"°{unit} as the column names say" in found.remarks


def test_a_degree_sign_of_another_encoding_is_one():
    """Latin-1, as many loggers' programs write it."""
    found = recording.read("time,north.air (°F)\n2026-04-12T18:00:00Z,50\n".encode("latin-1"))
    assert round(float(found.columns.raw[0]), 3) == 10.0


def test_figures_of_fahrenheit_read_as_celsius_are_doubted():
    """Half of the air above 36 °C is no garden; the same figures named °F are none to doubt."""
    rows = "".join(f"2026-04-12T{k:02}:00:00Z,{40 + k}\n" for k in range(24))
    text = ("time,north.air\n" + rows).encode()
    assert any("--unit F" in remark for remark in recording.read(text).remarks)
    assert not any("--unit F" in remark for remark in recording.read(text, unit="F").remarks)


def test_what_a_logger_writes_above_the_names_is_passed_over():
    """Title, serial number, an empty line; and it is said. Without any line of names the first is refused."""
    found, whole = cells("Plot Title: north\nSerial,1234,\n\n" + PLAIN)
    assert found == GOOD
    assert any("above the column names" in remark for remark in whole.remarks)
    with pytest.raises(InputError, match="line 1, column 1: got 'Plot Title"):
        recording.read(b"Plot Title: north\nSerial,1234\n")


def test_a_column_of_words_is_named():
    """Which one, and what it says; a column with a stray word is not."""
    rows = [("9", "closed"), ("9.1", "open"), ("n/a", "closed"), ("9.1", "closed")]
    text = "time,north.air,north.lid\n" + "".join(
        f"2026-04-12T18:0{k}:00Z,{air},{lid}\n" for k, (air, lid) in enumerate(rows)
    )
    _, whole = cells(text)
    assert whole.remarks == ("north.lid holds text such as 'closed': not used",)


def test_a_lid_in_percent_is_doubted():
    """It is out of range and left out, and nothing else would say why."""
    text = "time,north.air,north.lid\n2026-04-12T18:00:00Z,9,{lid}\n"
    assert any("not percent" in r for r in recording.read(text.format(lid=30).encode()).remarks)
    assert not recording.read(text.format(lid=0.3).encode()).remarks
