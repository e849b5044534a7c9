"""A small piece of the fuzz campaign in the suite; `make fuzz` runs a million streams."""

from __future__ import annotations

import runpy
from pathlib import Path

CAMPAIGN = runpy.run_path(str(Path(__file__).parents[1] / "fuzz_wire.py"))["campaign"]


def test_damage_of_every_kind_never_becomes_a_sample() -> None:
    heard, _ = CAMPAIGN(streams=3000, seed=20)

    assert heard > 3000 * 5
