"""Names of new files: when and who, never the same twice."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from uuid import uuid4


def new_recording_path(folder: Path, person: str) -> Path:
    """Return where the next recording goes: time (UTC), code if any, and a few random letters."""
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ")
    return folder / f"{'_'.join(filter(None, (stamp, person, uuid4().hex[:8])))}.h5"


def new_picture_path(folder: Path) -> Path:
    """Return where the next picture goes, without an ending: time (UTC) and a few letters."""
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ")
    return folder / f"picture_{stamp}_{uuid4().hex[:8]}"
