"""``perpend verify``: is a recording whole."""

from __future__ import annotations

import argparse
import json
from typing import TYPE_CHECKING, Any

from ui.cli.arguments import add_json, add_recordings
from ui.cli.batch import recordings_in
from ui.cli.exit_codes import DONE, FAILED, INCOMPLETE

if TYPE_CHECKING:
    from acquisition.recording.verify import Verified


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    add_recordings(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Check the recordings, say what is wrong, and return the exit code."""
    from acquisition.recording.verify import verify_recording

    results = [verify_recording(path) for path in recordings_in(args.files, left=True)]
    if args.json:
        plain = [_plain(result) for result in results]
        print(json.dumps(plain[0] if len(plain) == 1 else plain, indent=2))
    else:
        for result in results:
            _tell(result)
    return exit_code(results)


def exit_code(results: list[Verified]) -> int:
    """Return 1 if one is wrong, 3 if one is incomplete, else 0."""
    if any(result.faults for result in results):
        return FAILED
    return DONE if all(result.whole for result in results) else INCOMPLETE


def verdict(result: Verified) -> str:
    """Return one word or two for a result."""
    if result.faults:
        return "not whole"
    return "whole" if result.whole else "incomplete"


def _tell(result: Verified) -> None:
    samples = ", ".join(f"{count} {name} samples" for name, count in result.samples)
    print(f"{result.path}: {verdict(result)}" + (f" ({samples})" if samples else ""))
    for fault in result.faults:
        print(f"  wrong: {fault}")
    for gap in result.missing:
        print(f"  missing: {gap}")


def _plain(result: Verified) -> dict[str, Any]:
    return {
        "file": str(result.path),
        "verdict": verdict(result),
        "faults": list(result.faults),
        "missing": list(result.missing),
        "sha256": result.sha256,
        "samples": dict(result.samples),
    }
