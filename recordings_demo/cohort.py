"""Records an invented class over three weeks: ``python recordings_demo/cohort.py DIR``.

Too large to be kept here; made in about a minute. Try it with ``perpend study DIR --out OUT``.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from acquisition.virtual_rig.cohort import record_sitting, sittings
from analysis.target import Target


def main() -> int:
    """Record everything and return the exit code."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path, help="made if need be; must hold none of the files")
    parser.add_argument("--people", type=int, default=8)
    parser.add_argument("--days", type=int, default=4)
    parser.add_argument("--trials", type=int, default=4, help="of practice, each day")
    parser.add_argument("--repetitions", type=int, default=3, help="in each trial")
    parser.add_argument("--top", type=float, default=90.0, help="elevation, degrees")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    given.folder.mkdir(parents=True, exist_ok=True)
    for sitting in sittings(
        given.people,
        days=given.days,
        trials=given.trials,
        repetitions=given.repetitions,
        seed=given.seed,
    ):
        path = record_sitting(
            given.folder, sitting, top_deg=given.top, target_json=Target().to_json()
        )
        print(path.name)
    return 0


if __name__ == "__main__":
    sys.exit(main())
