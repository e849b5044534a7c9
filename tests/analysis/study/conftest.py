"""A small invented class, recorded once."""

from __future__ import annotations

from pathlib import Path

import pytest

from acquisition.virtual_rig.cohort import record_sitting, sittings
from analysis.target import Target


@pytest.fixture(scope="session")
def class_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two people on two days: baseline, practice, retention, transfer; one short repetition each.

    A file that is none and a copy lie among the ten recordings.
    """
    folder = tmp_path_factory.mktemp("class")
    for one in sittings(2, days=2, trials=2, repetitions=1):
        record_sitting(folder, one, top_deg=45.0, target_json=Target().to_json())
    (folder / "broken.h5").write_bytes(b"no recording")
    (folder / "z_copy.h5").write_bytes((folder / "T21_01.h5").read_bytes())
    return folder


@pytest.fixture(scope="session")
def class_files(class_folder: Path) -> list[str]:
    """Return every file of the class, good or not."""
    return [str(path) for path in sorted(class_folder.glob("*.h5"))]
