"""Coverage-guided fuzzing of every parser: `python -m tests.fuzz [SECONDS] [NAME ...]`.

Needs atheris (`pip install atheris`), which has wheels for Linux on x86-64 alone and is therefore no part
of the locked dependencies. Prints a table; the status is 1 where an input ended in anything but our own
error, and that input is printed so that it can become a case of `tests/fuzz/test_targets.py`.
"""

from __future__ import annotations

import importlib.util
import os
import re
import resource
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.bench.table import Figure, show
from tests.fuzz.targets import MEMORY, TARGETS, Target

SECONDS = 120
ROUND_S = 600
"""Then a fresh process goes on from the inputs kept: the fuzzer itself grows by half a KiB an execution."""
SLOW_S = 10
MOST_MIB = 1024


def main(words: list[str]) -> int:
    """Fuzzes the named targets, or all, so long each."""
    seconds = int(words.pop(0)) if words and words[0].isdigit() else SECONDS
    unknown = sorted(set(words) - set(TARGETS))
    if unknown:
        print(f"fuzz: got {', '.join(unknown)}, expected some of {', '.join(TARGETS)}", file=sys.stderr)
        return 2
    if importlib.util.find_spec("atheris") is None:
        print("fuzz: atheris is not installed\nTry: pip install atheris (Linux on x86-64)", file=sys.stderr)
        return 3
    figures = []
    for name, target in TARGETS.items():
        if not words or name in words:
            print(f"fuzz: {name} for {seconds} s ...", file=sys.stderr, flush=True)
            figures.append(_fuzzed(name, target, seconds))
    print(show(figures))
    return 0 if all(figure.holds for figure in figures) else 1


def _fuzzed(name: str, target: Target, seconds: int) -> Figure:
    # The fuzzer ends without clearing up: what its target lays down belongs into this folder too.
    with tempfile.TemporaryDirectory(dir=MEMORY) as folder:
        spent_s = _cpu_s()
        corpus, found = Path(folder, "corpus"), Path(folder, "found")
        corpus.mkdir()
        found.mkdir()
        for k, seed in enumerate(target.seeds):
            (corpus / f"seed-{k}").write_bytes(seed)
        words = Path(folder, "words")
        words.write_text("".join(f'"{_escaped(word)}"\n' for word in target.words))
        executions, edges, broken, said = 0, 0, False, ""
        for begun_s in range(0, seconds, ROUND_S):
            spell_s = min(ROUND_S, seconds - begun_s)
            done = subprocess.run(
                [sys.executable, "-m", "tests.fuzz.one", name, str(corpus), f"-dict={words}",
                 f"-artifact_prefix={found}/", f"-max_total_time={spell_s}", f"-max_len={target.longest}",
                 f"-timeout={SLOW_S}", f"-rss_limit_mb={MOST_MIB}", "-print_final_stats=1"],
                capture_output=True, text=True, errors="replace", check=False,
                env={**os.environ, "TMPDIR": folder},
            )  # fmt: skip
            said = done.stdout + done.stderr
            executions += _last(said, r"stat::number_of_executed_units: *(\d+)")
            edges = max(edges, _last(said, r"cov: (\d+)"))
            broken = done.returncode != 0
            if broken:
                break
        bad = [path.read_bytes() for path in found.iterdir() if not path.name.startswith("slow-unit")]
        for data in bad:
            print(f"\nfuzz: {name} fails on {data!r}\n{_fault(said)}", file=sys.stderr)
        broken = broken or bool(bad)
        if broken and not bad:
            print(said[-3000:], file=sys.stderr)
        return Figure(
            f"fuzzing {name}",
            "nothing but our own errors",
            f"{executions:,} executions in {_cpu_s() - spent_s:.0f} s of CPU, {edges:,} edges, "
            f"{len(list(corpus.iterdir())):,} inputs kept, {len(bad)} findings",
            not broken,
        )


def _cpu_s() -> float:
    """What ended children have had of the processors: on a busy machine not what the clock says."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def _escaped(word: str) -> str:
    return "".join(c if c.isalnum() or c in " .,-=[]" else f"\\x{ord(c):02x}" for c in word)


def _last(said: str, pattern: str) -> int:
    found = re.findall(pattern, said)
    return int(found[-1]) if found else 0


def _fault(said: str) -> str:
    """The traceback, from the end of what the fuzzer printed."""
    match = re.search(r"=== Uncaught Python exception: ===.*?(?=^==\d+==)", said, re.DOTALL | re.MULTILINE)
    return (match[0] if match else said)[-3000:]


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
