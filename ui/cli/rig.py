"""``perpend rig``: who a rig is, how it is set, what it keeps; and changes of these."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ui.cli.arguments import PORT_HELP, add_json
from ui.cli.exit_codes import DONE, FAILED
from ui.cli.output import new_files, write_whole
from ui.errors import UserError

if TYPE_CHECKING:
    from acquisition.console import RigConsole

NEAR = 1e-6
"""A rate goes over the wire with seven digits: as good as equal."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    parser.add_argument("--port", required=True, metavar="URL", help=PORT_HELP)
    parser.add_argument(
        "--configure", action="append", default=[], metavar="STREAM=HZ[:SAMPLES]",
        help="rate and block size from the next start until power-off",
    )  # fmt: skip
    parser.add_argument(
        "--set", action="append", default=[], metavar="KEY=VALUE",
        help="keep a text on the rig; an empty one removes the key",
    )  # fmt: skip
    parser.add_argument(
        "--get",
        metavar="KEY",
        help="print one value that the rig keeps, and nothing else; last of all",
    )
    parser.add_argument(
        "--save-description", type=Path, metavar="TOML",
        help="keep the rig's description, with its calibration, on the rig",
    )  # fmt: skip
    parser.add_argument(
        "--fetch-description", type=Path, metavar="TOML",
        help="write the description that the rig keeps to a file",
    )  # fmt: skip
    parser.add_argument(
        "--force", action="store_true", help="replace the file of --fetch-description"
    )
    parser.add_argument(
        "--zero", metavar="STREAM", help="let its amplifiers balance themselves, hands off"
    )
    parser.add_argument(
        "--restart-counters", action="store_true", help="set the rig's counters to 0"
    )
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do what is asked, show how the rig is then, and return the exit code."""
    from acquisition.clock import SystemClock
    from acquisition.console import RigConsole
    from acquisition.transports import transport_for

    wishes = [_configuration(text) for text in args.configure]
    values = [_key_and_value(text) for text in args.set]
    wanted = None if args.get is None else _key("--get", args.get)
    if args.fetch_description is not None:
        new_files((args.fetch_description,), force=args.force)
    with RigConsole(transport_for(args.port), clock=SystemClock()) as console:
        for wish in wishes:
            _configure(console, *wish)
        for key, value in values:
            console.write(key, value)
        _descriptions(console, args.save_description, args.fetch_description)
        if args.zero is not None:
            console.zero_electrical(console.stream(args.zero).stream_id)
        if args.restart_counters:
            console.restart_counters()
        if wanted is not None:
            return _print_value(console, wanted)
        found = _found(console)
    _print(found, as_json=args.json)
    return DONE if found["self_test"]["passed"] is not False else FAILED


def _configuration(text: str) -> tuple[str, float, int]:
    from firmware_protocol.codec import MAX_BLOCK_SAMPLES
    from firmware_protocol.table import MAX_RATE_HZ

    name, _, setting = text.partition("=")
    rate, _, block = setting.partition(":")
    try:
        rate_hz, block_samples = float(rate), int(block or 0)
    except ValueError:
        raise UserError(
            f"--configure {text}: must be STREAM=HZ or STREAM=HZ:SAMPLES, such as force=500:10"
        ) from None
    if not 0.0 < rate_hz <= MAX_RATE_HZ:
        raise UserError(f"--configure {text}: the rate must be above 0, {MAX_RATE_HZ:g} Hz at most")
    if not 0 <= block_samples <= MAX_BLOCK_SAMPLES:
        raise UserError(
            f"--configure {text}: a block has 1 to {MAX_BLOCK_SAMPLES} samples; "
            "0 leaves it to the rig"
        )
    return name, rate_hz, block_samples


def _configure(console: RigConsole, name: str, rate_hz: float, block_samples: int) -> None:
    """Set a stream, and say so if the rig took the nearest that it can."""
    took = console.configure(console.stream(name).stream_id, rate_hz, block_samples)
    if abs(took.rate_hz - rate_hz) > NEAR * rate_hz or block_samples not in (0, took.block_samples):
        print(
            f"{name}: asked for {rate_hz:g} Hz in blocks of {block_samples or 'any size'}, "
            f"the rig took {took.rate_hz:g} Hz in blocks of {took.block_samples}",
            file=sys.stderr,
        )


def _key_and_value(text: str) -> tuple[str, bytes]:
    from acquisition.rig_store import PIECE_BYTES

    key, equals, value = text.partition("=")
    if not (key and equals):
        raise UserError(f"--set {text!a}: must be KEY=VALUE")
    if key == "rig.toml" or key.startswith("rig.toml."):
        raise UserError(f"--set {text}: the description is kept with --save-description")
    kept = _utf8("--set", value, PIECE_BYTES, "value")
    return _key("--set", key), kept


def _key(option: str, key: str) -> str:
    """Return a key, if it can be one."""
    from firmware_protocol.codec import MAX_NAME_BYTES
    from firmware_protocol.table import is_plain

    _utf8(option, key, MAX_NAME_BYTES, "key")
    if not (key and is_plain(key)):
        raise UserError(f"{option}: a key has 1 to {MAX_NAME_BYTES} bytes, no control characters")
    return key


def _utf8(option: str, text: str, limit: int, what: str) -> bytes:
    try:
        data = text.encode()
    except UnicodeEncodeError:  # bytes of the command line that are no text
        raise UserError(f"{option}: the {what} {text!a} is not UTF-8") from None
    if len(data) > limit:
        raise UserError(
            f"{option}: the {what} {text[:40]!a}… has {len(data)} bytes, a rig takes {limit}; "
            "keep a longer text in pieces"
        )
    return data


def _print_value(console: RigConsole, key: str) -> int:
    value = console.read(key)
    if not value:
        raise UserError(
            f"rig {console.identity.rig_serial} keeps nothing under {key!r}; without --get "
            "all that it keeps is listed"
        )
    print(value.decode("utf-8", "replace"))
    return DONE


def _descriptions(console: RigConsole, save: Path | None, fetch: Path | None) -> None:
    from acquisition.rig import load_rig
    from acquisition.rig_store import fetch_description, kept_text, save_description

    if save is not None:
        load_rig(save)  # its own message names the file
        save_description(console, save.read_text(encoding="utf-8"))
    if fetch is not None:
        fetch_description(console)
        text = kept_text(console.read)
        if text is None:
            raise UserError(f"rig {console.identity.rig_serial} keeps no description")
        write_whole(fetch, text)


def _found(console: RigConsole) -> dict[str, Any]:
    """Return how the rig is, plain values."""
    identity = console.identify()
    return {
        "rig": identity.rig_serial,
        "firmware": identity.firmware_version,
        "protocol": f"{identity.protocol_major}.{identity.protocol_minor}",
        "boot_count": identity.boot_count,
        "streams": [_stream(console, spec.stream_id, spec.name) for spec in identity.streams],
        "self_test": _self_test(console),
        "description": _description(console),
        "kept": {
            key: console.read(key).decode("utf-8", "replace")
            for key in console.stored_keys()
            if not key.startswith("rig.toml")
        },
    }


def _stream(console: RigConsole, stream_id: int, name: str) -> dict[str, Any]:
    told = console.configuration(stream_id)
    return {"name": name, "rate_hz": told.rate_hz, "block_samples": told.block_samples}


def _self_test(console: RigConsole) -> dict[str, Any]:
    from acquisition.errors import RigRefuses

    try:
        result = console.self_test()
    except RigRefuses as why:
        return {"passed": None, "detail": str(why)}
    return {"passed": result.passed, "detail": result.detail}


def _description(console: RigConsole) -> str:
    """Return in words what description the rig keeps."""
    from acquisition.errors import DescriptionError
    from acquisition.rig_store import fetch_description

    try:
        rig = fetch_description(console)
    except DescriptionError as why:
        return f"not usable: {why}"
    if rig is None:
        return "none kept"
    date = rig.cell.calibrated_on
    calibrated = f"calibrated on {date.isoformat()}" if date else "no date of calibration"
    return f"{rig.rig.side} side, {rig.cell.axes} axes, {calibrated}"


def _print(found: dict[str, Any], *, as_json: bool) -> None:
    from acquisition.plain_text import one_line

    if as_json:
        print(json.dumps(found, indent=2))
        return
    print(f"rig {found['rig']}, firmware {found['firmware']}, protocol {found['protocol']}, "
          f"boot count {found['boot_count']}")  # fmt: skip
    for stream in found["streams"]:
        print(f"  {stream['name']:12} {stream['rate_hz']:g} Hz, "
              f"{stream['block_samples']} samples in a block")  # fmt: skip
    test = found["self_test"]
    words = {True: "passed", False: "FAILED", None: "not done"}[test["passed"]]
    print(f"self-test    {words}{': ' if test['detail'] else ''}{test['detail']}")
    print(f"description  {found['description']}")
    for key, value in found["kept"].items():
        print(f"keeps        {one_line(key)} = {one_line(value)}")
