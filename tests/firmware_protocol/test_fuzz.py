"""A small piece of the fuzz campaign in the suite; `make fuzz` runs a million streams."""

from __future__ import annotations

import runpy
from pathlib import Path

CAMPAIGN = runpy.run_path(str(Path(__file__).parents[1] / "fuzz_wire.py"))["campaign"]


def test_damage_of_every_kind_never_becomes_a_sample() -> None:
    """Whole reads as arrays and one frame at a time, of the same damaged lines."""
    run = CAMPAIGN(streams=1500, seed="20")

    assert run.as_recorded.blocks > 1500 * 6
    assert run.as_recorded.at_once > 1500 * 2
    assert run.as_recorded.intake.counts.missing_samples > 1500
    assert run.one_by_one.late > 100
