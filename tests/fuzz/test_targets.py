"""The fuzzer's targets on good inputs, and on those that once ended in a traceback.

The search for more is `python -m tests.fuzz`; this needs no fuzzer.
"""

import pytest
from tests.fuzz.targets import TARGETS

NESTED = 1500
FOUND = [
    ("garden", b"a = " + b"[" * NESTED),
    ("garden", b"a = " + b"{b=" * NESTED),
    ("garden", b"a" + b".a" * NESTED + b" = 1"),
    ("garden", b"[site]\nlatitude = " + b"9" * 5000),
    ("garden", b"[site]\nlatitude = 0x" + b"f" * 5000),
    ("garden", b'[[box]]\nname = "x"\nalarms = { heat_f = 0x' + b"f" * 400 + b" }"),
    ("crops", b"[pea]\nsources = { a = 1 }\nby_kinship = [1]"),
    ("crops", b"[pea]\nsources = { a = 'b' }\nby_kinship = ['pea']"),
    ("crops", b"[pea]\nsources = { a = 'b' }\nemergence = 1"),
    ("crops", b"[pea]\nsources = { a = 'b' }\nemergence = { days = [1] }"),
    ("crops", b"[pea]\nsources = { a = 'b' }\nemergence = { days = { x = 1 } }"),
    ("crops", b"[pea]\nsources = { a = 'b' }\nharvest = { days = ['a', 1] }"),
    ("crops", b"[pea]\nsources = { a = 'b' }\nalso = [[1]]"),
    ("crops", b"[pea]\nfrost_c = 0x" + b"f" * 5000),
    ("crops", b"a = " + b"[" * NESTED),
]


@pytest.mark.parametrize("name", TARGETS)
def test_what_the_fuzzer_begins_with_passes(name):
    for seed in TARGETS[name].seeds:
        TARGETS[name].run(seed)
        TARGETS[name].run(seed[: len(seed) // 2])


@pytest.mark.parametrize(("name", "data"), FOUND, ids=lambda part: str(part)[:40])
def test_what_was_found_is_refused_in_words(name, data):
    """A target lets nothing but our own errors pass."""
    TARGETS[name].run(data)
