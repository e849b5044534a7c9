"""The result sheet of an assessment: one HTML page that prints on A4, never changed silently."""

from __future__ import annotations

import hashlib
import json
import os
import re
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

from acquisition.recording.naming import OWNER_ONLY
from acquisition.software import software
from analysis.trial import Severity
from ui.errors import UserError
from ui.judged import MEANINGS, SIGNS
from ui.live.practice.assessment import Assessment
from ui.live.practice.checklist import TICK_SIGNS
from ui.practised import practised
from ui.report.page import page
from ui.report.trial_report import LIBRARIES

COLUMNS = 6
"""Repetitions beside each other: what fits on A4."""
UNSEALED = "to be sealed"
SEALED = re.compile('name="sheet-sha256" content="([0-9a-f]{64})"')
MOST_VERSIONS = 999


@dataclass(frozen=True, slots=True)
class Sheet:
    """A result sheet on disk.

    Attributes:
        path: Where it is.
        number: Its version, from 1.
        fresh: It was written now; False if the newest one says the same already.
    """

    path: Path
    number: int
    fresh: bool


def build_sheet(outcome: Assessment, *, number: int = 1, before_sha256: str = "") -> str:
    """Return the page. The same outcome gives the same bytes.

    Args:
        outcome: What it says.
        number: Version of the sheet.
        before_sha256: Hash of the version before it, empty if there is none.
    """
    trial = outcome.trial
    shown = outcome.repetitions
    sheet = page(
        "result.html.j2",
        outcome=outcome,
        facts=trial.recording,
        target=trial.target,
        groups=[range(at, min(at + COLUMNS, len(shown))) for at in range(0, len(shown), COLUMNS)],
        concerns=[one for one in trial.quality if one.severity is Severity.WARNING],
        practised=practised(trial),
        signs=SIGNS,
        meanings=MEANINGS,
        ticks=TICK_SIGNS,
        number=number,
        before_sha256=before_sha256,
        unsealed=UNSEALED,
        outcome_sha256=_outcome_sha256(outcome),
        versions=", ".join((software(), *(f"{name} {version(name)}" for name in LIBRARIES))),
    )
    return sheet.replace(UNSEALED, _seal(sheet))


def store_sheet(outcome: Assessment, folder: Path, stem: str) -> Sheet:
    """Write the next version of a result sheet; those that are there stay as they are.

    An outcome that the newest version tells already is not written again.

    Args:
        outcome: What it says.
        folder: Where the sheets of this recording lie.
        stem: Name of the recording without its ending.

    Raises:
        UserError: There are too many versions, or one cannot be read, is of another recording or
            is not as it was written.
        OSError: It cannot be written.
    """
    number, before_sha256, text = 0, "", ""
    while (path := _path(folder, stem, number + 1)).exists():
        number += 1
        if number == MOST_VERSIONS:
            raise UserError(f"{path}: {number} versions are enough; move some away")
        text = _read(path)
        if outcome.trial.recording["uuid"] not in text:
            raise UserError(f"{path}: is of another recording; name another folder")
        if not _is_whole(text) or f'name="before-sha256" content="{before_sha256}"' not in text:
            raise UserError(
                f"{path}: it, or the one before it, was changed after it was written; keep them "
                "apart and name another folder"
            )
        before_sha256 = hashlib.sha256(text.encode()).hexdigest()
    if number and _mark(outcome) in text:
        return Sheet(_path(folder, stem, number), number, fresh=False)
    sheet = build_sheet(outcome, number=number + 1, before_sha256=before_sha256)
    path = _path(folder, stem, number + 1)
    try:
        with open(path, "x", encoding="utf-8", newline="\n", opener=_for_the_owner) as file:
            file.write(sheet)
    except FileExistsError:
        raise UserError(f"{path}: was written by somebody else just now; try again") from None
    return Sheet(path, number + 1, fresh=True)


def _for_the_owner(path: str, flags: int) -> int:
    """Open a file that only its owner can read: it tells how a person did."""
    return os.open(path, flags, OWNER_ONLY)


def _path(folder: Path, stem: str, number: int) -> Path:
    return folder / f"{stem}_result_{number}.html"


def _read(path: Path) -> str:
    try:
        return path.read_bytes().decode()
    except (OSError, UnicodeDecodeError) as cause:
        raise UserError(f"{path}: cannot be read as a result sheet; move it away") from cause


def _seal(page: str) -> str:
    """Return what tells whether a page was changed: the hash of it before it was sealed."""
    return hashlib.sha256(page.encode()).hexdigest()


def _is_whole(page: str) -> bool:
    found = SEALED.search(page)
    return found is not None and _seal(page.replace(found[1], UNSEALED)) == found[1]


def _mark(outcome: Assessment) -> str:
    """Return what a sheet of this outcome holds."""
    return f'name="outcome-sha256" content="{_outcome_sha256(outcome)}"'


def _outcome_sha256(outcome: Assessment) -> str:
    plain: dict[str, Any] = outcome.to_dict() | {"software": software()}
    return hashlib.sha256(json.dumps(plain, sort_keys=True).encode()).hexdigest()
