"""``perpend check``: the self-test of a rig before use."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from ui.cli.arguments import add_json, add_port, add_target, rig_on, target_for
from ui.cli.exit_codes import DONE, FAILED

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from acquisition.record import RecordProgress
    from acquisition.rig import RigDescription
    from acquisition.transports.held import HeldPort
    from analysis.target import Target
    from analysis.trial import QualityFinding

QUIET_S = 3.0
WHOLE_S = 8.0
EPILOG = (
    "Each line is pass, warn (it can be used as it is) or FAIL. Exit code 0: no line fails; 1: a "
    "line fails, and also if no push was seen, for then nobody knows sign and side."
)
WORDS = {"fine": "pass", "note": "warn", "warning": "FAIL"}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    parser.epilog = EPILOG
    add_port(parser)
    add_target(parser)
    parser.add_argument(
        "--no-prompt", action="store_true", help="ask nobody to push: the virtual rig does it"
    )
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Record a few seconds, judge them, print a line each, and return the exit code."""
    from acquisition.transports import transport_for
    from acquisition.transports.held import HeldPort
    from analysis.quality import worst_first

    target, ask = target_for(args.target), _Asker(quiet=args.no_prompt)
    with HeldPort(transport_for(args.port)) as line:
        rig = rig_on(line, args.port, args.rig)
        findings = worst_first(findings_as_they_come(line, rig, target, ask))
    _print(findings, as_json=args.json)
    failed = _failed(findings)
    if failed:
        print(f"perpend check: not fit for use: {', '.join(failed)}", file=sys.stderr)
    return FAILED if failed else DONE


def findings_as_they_come(
    line: HeldPort,
    rig: RigDescription,
    target: Target | None,
    progress: Callable[[RecordProgress], None],
) -> Iterator[QualityFinding]:
    """Let the rig test itself, then record a few seconds and judge them.

    Args:
        line: The port; opened once for all of it.
        rig: Its description.
        target: Which way the push is meant; None takes the default.
        progress: Called during the recording: hands off for `QUIET_S`, then a push.

    Yields:
        Each finding once it is known.

    Raises:
        AcquisitionError: The port or the rig cannot be used.
    """
    import tempfile

    from acquisition.record import record_trial
    from acquisition.recording.reader import read_recording
    from analysis.rig_check import check_rig

    yield from _self_test(line)
    with tempfile.TemporaryDirectory() as folder:
        outcome = record_trial(
            line, Path(folder) / "check.h5", rig=rig, seconds=WHOLE_S, progress=progress
        )
        recording = read_recording(outcome.path)
    yield from check_rig(recording, target, real_time=_in_real_time(line.name))


def _in_real_time(port: str) -> bool:
    """Tell whether a port keeps our time; what is played back, or made at once, does not."""
    from acquisition.transports.url import parse_url, play_speed

    url = parse_url(port)
    return url.scheme != "replay" and play_speed(url.options.get("speed", "1")) == 1.0


def _self_test(line: HeldPort) -> tuple[QualityFinding, ...]:
    """Let the rig test itself; nothing of a recording."""
    from acquisition.clock import SystemClock
    from acquisition.console import RigConsole
    from acquisition.errors import RigRefuses
    from acquisition.transports.url import parse_url
    from analysis.rig_check import self_test_finding

    if parse_url(line.name).scheme == "replay":
        return ()
    line.leave_open()
    with RigConsole(line, clock=SystemClock()) as console:
        try:
            result = console.self_test()
        except RigRefuses as why:
            detail = str(why).removeprefix(f"{line.name}: ")
            return (self_test_finding(passed=None, detail=detail),)
    return (self_test_finding(passed=result.passed, detail=result.detail),)


class _Asker:
    """Says what to do and when, on stderr."""

    def __init__(self, *, quiet: bool) -> None:
        self._left = (
            []
            if quiet
            else [
                (0.0, "hands off, the arm hanging"),
                (QUIET_S, "now push backward and a little outward, about 30 N, and hold it"),
                (WHOLE_S, "let go"),
            ]
        )

    def __call__(self, progress: RecordProgress) -> None:
        while self._left and progress.seconds >= self._left[0][0]:
            print(self._left.pop(0)[1], file=sys.stderr, flush=True)


def _print(findings: tuple[QualityFinding, ...], *, as_json: bool) -> None:
    if as_json:
        rows = [
            {
                "key": finding.key,
                "result": WORDS[finding.severity.value].lower(),
                "value": finding.value,
                "limit": finding.limit,
                "advice": finding.advice,
            }
            for finding in findings
        ]
        print(json.dumps(rows, indent=2))
        return
    for finding in findings:
        word = WORDS[finding.severity.value]
        limit = f" (limit: {finding.limit})" if finding.limit and word != "pass" else ""
        print(f"{word}  {_words(finding)}: {finding.value}{limit}")
        if word != "pass":
            print(f"      {finding.advice}")
    warned = [_words(finding) for finding in findings if WORDS[finding.severity.value] == "warn"]
    if not _failed(findings):
        print(f"fit for use{', but mind: ' if warned else ''}{', '.join(warned)}")


def _failed(findings: tuple[QualityFinding, ...]) -> list[str]:
    return [_words(finding) for finding in findings if WORDS[finding.severity.value] == "FAIL"]


def _words(finding: QualityFinding) -> str:
    return finding.key.replace("_", " ")
