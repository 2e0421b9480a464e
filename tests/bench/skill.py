"""Every forecast beside plain methods and ceilings: `python -m tests.bench.skill [FOLDER]`.

Runs the parts one after the other: heat, lids and what-if (`skill_minute`), nights and days
(`skill_day`), the first seven days (`first_week`); with the folder of measured data, real enclosures too.
It takes about a quarter of an hour.
"""

from __future__ import annotations

import sys

from tests.bench import first_week, skill_day, skill_minute


def main(arguments: list[str]) -> int:
    skill_minute.main(["5", "30"])
    skill_day.main([])
    first_week.main(["3"])
    return skill_day.main(arguments[:1]) if arguments else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
