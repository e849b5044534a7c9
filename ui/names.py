"""Names of new files: when and who, never the same twice."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from uuid import uuid4


def new_recording_path(root: Path, person: str) -> Path:
    """Return where the next recording goes, in the session's folder below *root*, which is made.

    It is called by time (UTC), code if any, and a few random letters.

    Raises:
        RecordingError: *person* is no code, or the folder cannot be made.
    """
    from acquisition.recording.session_folder import make_session_folder

    now = datetime.now(UTC)
    folder = make_session_folder(root, person, now.date())
    stamp = now.strftime("%Y%m%dT%H%M%SZ")
    return folder / f"{'_'.join(filter(None, (stamp, person, uuid4().hex[:8])))}.h5"


def new_picture_path(folder: Path) -> Path:
    """Return where the next picture goes, without an ending: time (UTC) and a few letters."""
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ")
    return folder / f"picture_{stamp}_{uuid4().hex[:8]}"
