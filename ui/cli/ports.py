"""``perpend ports``: lists serial devices, saying which answer as a rig."""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from typing import Any

from ui.cli.arguments import add_json
from ui.cli.exit_codes import DONE


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    parser.add_argument(
        "--probe", action="append", default=[], metavar="URL", help="ask this port too"
    )
    parser.add_argument("--no-ask", action="store_true", help="only list, open nothing")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """List, ask, print, and return the exit code."""
    found = listed()
    for url in args.probe:
        _add(found, url)
    if not args.no_ask:
        _ask_all(found)
    if args.json:
        print(json.dumps(found, indent=2))
    else:
        _print(found)
    return DONE


def _add(found: list[dict[str, Any]], url: str) -> None:
    """Ask a port as it was given, and once: with options it may be one that is listed."""
    from acquisition.transports.url import parse_url

    for entry in found:
        if parse_url(entry["url"]).address == parse_url(url).address != "":
            entry["url"] = url
            return
    if all(entry["url"] != url for entry in found):
        found.append({"url": url, "description": ""})


def listed() -> list[dict[str, Any]]:
    """Return the serial ports of this machine; none is opened."""
    from acquisition.transports.serial_port import list_ports

    return [
        {"url": port.url, "description": port.description, "usb_serial": port.usb_serial}
        for port in list_ports()
    ]


def _ask_all(found: Sequence[dict[str, Any]]) -> None:
    """Ask every port at once: each that is silent takes seconds, a board may be starting."""
    from concurrent.futures import ThreadPoolExecutor

    from ui.cli.progress import tracked

    if not found:
        return
    with ThreadPoolExecutor(max_workers=len(found)) as pool:
        answers = [pool.submit(answer_of, entry["url"]) for entry in found]
        for entry, answer in tracked(list(zip(found, answers, strict=True)), "asking"):
            entry.update(answer.result())


def answer_of(url: str) -> dict[str, Any]:
    """Return who answers at a port, or why nobody does."""
    from acquisition.console import who_answers
    from acquisition.errors import AcquisitionError
    from acquisition.transports import transport_for

    try:
        identity = who_answers(transport_for(url))
    except AcquisitionError as why:
        return {"rig": None, "why_not": str(why)}
    return {
        "rig": identity.rig_serial,
        "firmware": identity.firmware_version,
        "protocol": f"{identity.protocol_major}.{identity.protocol_minor}",
        "streams": {stream.name: stream.rate_hz for stream in identity.streams},
    }


def _print(found: Sequence[dict[str, Any]]) -> None:
    if not found:
        print("no serial device here; is the rig plugged in? (perpend simulate --pty serves one)")
    for entry in found:
        title = "  ".join(filter(None, (entry["url"], entry["description"])))
        if entry.get("rig"):
            streams = ", ".join(f"{name} {rate:g} Hz" for name, rate in entry["streams"].items())
            print(f"{title}\n    rig {entry['rig']}, firmware {entry['firmware']}, {streams}")
        elif "why_not" in entry:
            print(f"{title}\n    no rig here: {entry['why_not']}")
        else:
            print(title)
