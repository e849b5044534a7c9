"""Labels checked before they reach a file: codes only, no tricks."""

from __future__ import annotations

import re

from acquisition.errors import RecordingError
from acquisition.recording.model import TrialLabel

PERSON_CODE = re.compile(r"[A-Z][0-9]{2,4}")
"""A letter for the kind of person, a number for which: T07, E02."""
CONDITION = re.compile(r"[a-z][a-z0-9_]{0,31}")
MAX_NOTE_BYTES = 4000
MAX_TRIAL = 99_999


def check_label(label: TrialLabel) -> TrialLabel:
    """Return *label* if it may stand in a file.

    Raises:
        RecordingError: The person is no code, the condition no plain word, the note too long,
            the trial no number.
    """
    if label.person and not PERSON_CODE.fullmatch(label.person):
        raise RecordingError(
            f"person {label.person!r} is no code; use a letter and 2 to 4 digits, such as T07"
        )
    if label.condition and not CONDITION.fullmatch(label.condition):
        raise RecordingError(
            f"condition {label.condition!r} will not do; "
            "use lower-case letters, digits and _, such as with_feedback"
        )
    if len(label.note.encode("utf-8", "replace")) > MAX_NOTE_BYTES or "\0" in label.note:
        raise RecordingError(f"the note is longer than {MAX_NOTE_BYTES} bytes, or holds a zero")
    if not 0 <= label.trial <= MAX_TRIAL:
        raise RecordingError(f"trial {label.trial} must lie between 0 (none) and {MAX_TRIAL}")
    return label
