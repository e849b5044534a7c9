"""A recording that was changed after it was closed passes nowhere as whole."""

from __future__ import annotations

import shutil
from pathlib import Path

import h5py
import pytest

from acquisition.errors import AcquisitionError, RecordingError
from acquisition.plain_text import harmless
from acquisition.record import record_trial
from acquisition.recording.model import TrialLabel
from acquisition.recording.naming import refuse_taken
from acquisition.recording.reader import read_recording, read_wire
from acquisition.virtual_rig import default_rig

URL = "virtual:?trainee=E01&seed=1&reps=1&speed=max"


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("whole") / "a.h5"
    return record_trial(URL, path, rig=default_rig(), seconds=2.0, label=TrialLabel()).path


@pytest.fixture
def changed(whole: Path, tmp_path: Path) -> Path:
    """The same with one force count another one."""
    path = Path(shutil.copy(whole, tmp_path / "changed.h5"))
    path.chmod(0o600)
    with h5py.File(path, "r+") as file:
        counts = file["streams/force/counts"]
        counts[500, 0] = counts[500, 0] + 1
    return path


def test_reading_tells_it(whole: Path, changed: Path) -> None:
    one, other = read_recording(whole), read_recording(changed)

    assert (one.changed, other.changed) == (False, True)
    assert one.sha256 != other.sha256


def test_it_is_not_played_back_into_a_file_with_new_checksums(
    changed: Path, tmp_path: Path
) -> None:
    with pytest.raises(RecordingError, match="was changed after it was closed"):
        read_wire(changed)
    with pytest.raises(AcquisitionError, match="was changed after it was closed"):
        record_trial(f"replay:{changed}?speed=max", tmp_path / "again.h5", rig=default_rig())
    assert not (tmp_path / "again.h5").exists()


def test_a_name_under_which_nobody_would_find_it_is_refused(tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match=r"make the folder first, or name the file T07\.h5"):
        refuse_taken(tmp_path / "T07")


def test_text_of_a_file_cannot_steer_a_terminal() -> None:
    assert harmless("\x1b[31mred\x1b]0;x\x07 \u202eturned") == "�[31mred�]0;x� �turned"
    assert harmless("a note\nof two lines, with\ttabs, naïve, 肩") == (
        "a note\nof two lines, with\ttabs, naïve, 肩"
    )
