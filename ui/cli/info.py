"""``perpend info``: what is in a recording."""

from __future__ import annotations

import argparse
import json
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ui.cli.arguments import add_json, add_recordings
from ui.cli.batch import Batch, recordings_in

if TYPE_CHECKING:
    from acquisition.clock_fit import SegmentClock
    from acquisition.recording.index import Entry


MIN_CLOCK_ANSWERS = 10


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    add_recordings(parser)
    parser.add_argument(
        "--code", "--person", dest="person", metavar="CODE", help="only this person's recordings"
    )
    parser.add_argument("--condition", metavar="WORD", help="only those of this condition")
    parser.add_argument(
        "--date", type=_date, metavar="DATE", help="only those of the day YYYY-MM-DD (UTC)"
    )
    parser.add_argument(
        "--since", type=_date, metavar="DATE", help="only those since YYYY-MM-DD (UTC)"
    )
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Print what is in the recordings and return the exit code."""
    files = recordings_in(args.files, left=True)
    batch = Batch("info", files, "reading")
    if any(map(Path.is_dir, args.files)) and not args.json:
        return _list(batch, args)
    facts = [one for one in batch.done(facts_of) if _wanted(one, args)]
    if args.json:
        print(json.dumps(facts[0] if len(files) == len(facts) == 1 else facts, indent=2))
    else:
        from ui.cli.tables import facts_table, print_all

        print_all([facts_table(one) for one in facts])
    return batch.exit_code


def _date(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no date; write it like 2026-03-31") from None


def _list(batch: Batch, args: argparse.Namespace) -> int:
    """Print a line for each recording, by time; the file last, as it may be long."""
    from acquisition.recording.index import read_entry

    rows = [plain(entry) for entry in batch.done(read_entry)]
    for row in sorted(rows, key=lambda row: str(row["started_utc"])):
        if _wanted(row, args):
            trial = f"#{row['trial']}" if row["trial"] else "—"
            print(
                f"{row['started_utc'][:16]:16}  {row['person'] or '—':5}  {trial:>4}  "
                f"{row['condition'] or '—':17}  {row['rig']} {row['side']}  "
                f"{row['seconds']:6.1f} s  {row['status']}  {row['file']}"
            )
    return batch.exit_code


def plain(entry: Entry) -> dict[str, Any]:
    """Return a line of the index as plain values."""
    return {
        "file": str(entry.path),
        "started_utc": entry.started_utc,
        "person": entry.label.person,
        "trial": entry.label.trial or None,
        "condition": entry.label.condition,
        "rig": entry.rig,
        "side": entry.side,
        "target": _target(entry.target_json),
        "note": entry.label.note,
        "seconds": round(entry.seconds, 3),
        "status": entry.status,
    }


def _wanted(facts: dict[str, Any], args: argparse.Namespace) -> bool:
    """Tell whether a recording is one of those asked for."""
    return (
        args.person in (None, facts["person"])
        and args.condition in (None, facts["condition"])
        and (args.date is None or facts["started_utc"][:10] == args.date.isoformat())
        and (args.since is None or facts["started_utc"][:10] >= args.since.isoformat())
    )


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
        "trial": recording.label.trial or None,
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
        "clocks": [_clock(one) for one in recording.clocks],
        "events": [
            {"kind": event.kind, "text": event.text, "device_time_us": event.device_time_us}
            for event in recording.events
        ],
        "faults": [fault.detail or fault.code.name.lower() for fault in recording.faults],
    }


def _clock(clock: SegmentClock) -> dict[str, Any]:
    """Return how the rig's clock ran against ours in one segment.

    The drift is how much too slow it ran; from few answers it cannot be told, and is None.
    """
    enough = clock.answers >= MIN_CLOCK_ANSWERS
    return {
        "segment": clock.segment,
        "answers": clock.answers,
        "drift_ppm": round(clock.fit.drift_ppm, 1) if enough else None,
        "residual_ms": round(clock.fit.residual_s * 1e3, 3),
        "bound_ms": round(clock.fit.bound_s * 1e3, 3),
    }


def _target(text: str) -> object:
    """Return a recorded target as plain values, None if there is none, a text that is no JSON."""
    try:
        return json.loads(text) if text else None
    except ValueError:
        return text
