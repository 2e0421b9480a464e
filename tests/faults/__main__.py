"""What is promised when things break, tried on real parts: `python -m tests.faults [NAME ...]`.

Prints a table of promises with the figures found; the status is 1 where one was broken. Takes minutes:
the short forms of the same run with the tests.
"""

from __future__ import annotations

import sys
from datetime import date

from tests.bench.table import Figure, show
from tests.faults import kills, power, season, takeover

FAULTS = {
    "kills": kills.kills,
    "takeover": takeover.takeover,
    "power": power.power,
    "sixty-days": season.sixty_days,
}


def main(names: list[str]) -> int:
    unknown = sorted(set(names) - set(FAULTS))
    if unknown:
        print(f"faults: got {', '.join(unknown)}, expected some of {', '.join(FAULTS)}", file=sys.stderr)
        return 2
    found: list[Figure] = []
    for name, fault in FAULTS.items():
        if names and name not in names:
            continue
        print(f"trying {name} ...", file=sys.stderr, flush=True)
        found.extend(fault())
    print(f"Tried {date.today().isoformat()}\n")
    print(show(found))
    return 0 if all(figure.holds for figure in found) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
