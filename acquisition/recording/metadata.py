"""What a recording says of itself, as the attributes of its file."""

from __future__ import annotations

import uuid

import msgspec
import numpy as np

from acquisition.clock import Clock
from acquisition.errors import RecordingError
from acquisition.recording import layout
from acquisition.recording.model import TrialLabel
from acquisition.rig import RigDescription
from acquisition.software import software
from firmware_protocol.messages import Identity


def known_beforehand(
    identity: Identity, rig: RigDescription, target_json: str, label: TrialLabel, clock: Clock
) -> dict[str, bytes | int]:
    """Return the root attributes of a recording that begins now.

    Raises:
        RecordingError: One of the texts is longer than an attribute may be.
    """
    texts = {
        "schema": layout.SCHEMA,
        "status": layout.RECORDING,
        "uuid": str(uuid.uuid4()),
        "started_utc": clock.utc_now().isoformat(timespec="milliseconds"),
        "software": software(),
        "identity_json": msgspec.json.encode(identity).decode(),
        "rig_json": rig.to_json(),
        "target_json": target_json,
        "person": label.person,
        "condition": label.condition,
        "note": label.note,
        "content_sha256": "",
    }
    attributes: dict[str, bytes | int] = {
        "schema_version": layout.SCHEMA_VERSION,
        "started_ns": clock.now_ns(),
        "trial": label.trial,
    }
    for name, text in texts.items():
        data = text.encode("utf-8", "replace")
        if len(data) > layout.MAX_TEXT_BYTES:
            raise RecordingError(f"{name} is too long for a recording ({len(data)} bytes)")
        attributes[name] = data
    return attributes


def clipped(text: str, size: int) -> bytes:
    """Return *text* as UTF-8 of at most *size* bytes; a cut is shown by an ellipsis."""
    data = text.encode("utf-8", "replace")
    if len(data) <= size:
        return data
    ellipsis = "…".encode()
    return data[: size - len(ellipsis)].decode("utf-8", "ignore").encode() + ellipsis


def attribute_dtype(name: str, value: bytes | int) -> np.dtype[np.generic]:
    """Return the type an attribute has in the file."""
    if isinstance(value, int):
        return np.dtype("<i8")
    # These two change at the end, in place: their room is taken now.
    kept = {"status": layout.STATUS_BYTES, "content_sha256": layout.HASH_BYTES}
    return layout.text_dtype(kept.get(name, max(1, len(value))))
