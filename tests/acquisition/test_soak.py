"""A short run of the soak: losses, unplugging, a restart, and numbers that go past 32 bits."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def test_every_sample_of_a_faulty_rig_is_accounted_for() -> None:
    done = subprocess.run(  # noqa: S603, RUF100 - our own interpreter and script
        [sys.executable, "-m", "tests.soak", "--hours", "0.05"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=100,
        check=False,
    )

    assert done.stdout.endswith("\nsound\n"), done.stdout + done.stderr
    assert "unaccounted: 0;" in done.stdout
    assert "wraps=2" in done.stdout
    assert "unplugged=3, restarted=2" in done.stdout
