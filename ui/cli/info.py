"""``perpend info``: what is in a recording."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ui.cli.arguments import add_json, recordings_in

if TYPE_CHECKING:
    from acquisition.recording.model import Recording


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    parser.add_argument("files", nargs="+", type=Path, metavar="FILE", help="recordings or folders")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Print what is in the recordings and return the exit code."""
    from acquisition.recording.reader import read_recording
    from ui.cli.main import DONE

    facts = [facts_of(read_recording(path)) for path in recordings_in(args.files)]
    if args.json:
        print(json.dumps(facts[0] if len(facts) == 1 else facts, indent=2))
    else:
        from ui.cli.tables import print_facts

        for one in facts:
            print_facts(one)
    return DONE


def facts_of(recording: Recording) -> dict[str, Any]:
    """Return what is known of a recording without resolving anything, plain values."""
    from acquisition.recording.reader import content_sha256

    return {
        "file": str(recording.source),
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
        "sha256": content_sha256(recording.source) if recording.source else None,
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
