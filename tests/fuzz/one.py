"""One target under the coverage-guided fuzzer: `python -m tests.fuzz.one NAME FOLDER -max_total_time=60`.

A process of its own, because libFuzzer ends the one it runs in.
"""

from __future__ import annotations

import sys

import atheris

if __name__ == "__main__":
    with atheris.instrument_imports(include=["propstick", "tomllib"]):
        from tests.fuzz.targets import TARGETS

    name = sys.argv.pop(1)
    atheris.Setup(sys.argv, TARGETS[name].run)
    atheris.Fuzz()
