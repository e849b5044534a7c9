"""``perpend info``: what is in a recording."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

from ui.cli.arguments import add_json, add_recordings
from ui.cli.batch import Batch, recordings_in


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    add_recordings(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Print what is in the recordings and return the exit code."""
    files = recordings_in(args.files)
    batch = Batch("info", files, "reading")
    facts = list(batch.done(facts_of))
    if args.json:
        print(json.dumps(facts[0] if len(files) == 1 else facts, indent=2))
    else:
        from ui.cli.tables import facts_table, print_all

        print_all([facts_table(one) for one in facts])
    return batch.exit_code


def facts_of(path: Path) -> dict[str, Any]:
    """Return what is known of a recording without resolving anything, plain values.

    Raises:
        RecordingError: It cannot be read.
    """
    from acquisition.recording.reader import content_sha256, read_recording

    recording = read_recording(path)
    return {
        "file": str(path),
        "status": recording.status,
        "started_utc": recording.started_utc,
        "person": recording.label.person,
        "condition": recording.label.condition,
        "note": recording.label.note,
        "rig": recording.rig.rig.id,
        "side": recording.rig.rig.side,
        "axes": recording.rig.cell.axes,
        "firmware": recording.identity.firmware_version,
        "protocol": f"{recording.identity.protocol_major}.{recording.identity.protocol_minor}",
        "software": recording.software,
        "uuid": recording.uuid,
        "sha256": content_sha256(path),
        "target": _target(recording.target_json),
        "streams": {
            name: {
                "channels": [channel.name for channel in stream.spec.channels],
                "samples": len(stream.counts),
                "rate_hz": stream.spec.rate_hz,
                "duration_s": round(len(stream.counts) / stream.spec.rate_hz, 3),
                "segments": len(set(stream.segment.tolist())),
            }
            for name, stream in recording.streams.items()
        },
        "link": {name: getattr(recording.counts, name) for name in recording.counts.__slots__},
        "events": [
            {"kind": event.kind, "text": event.text, "device_time_us": event.device_time_us}
            for event in recording.events
        ],
        "faults": [fault.detail or fault.code.name.lower() for fault in recording.faults],
    }


def _target(text: str) -> object:
    """Return a recorded target as plain values, None if there is none, a text that is no JSON."""
    try:
        return json.loads(text) if text else None
    except ValueError:
        return text
