"""``perpend simulate``: serves a virtual rig to which any program can talk as to a real one."""

from __future__ import annotations

import argparse
import json
import sys
import threading
from pathlib import Path

from ui.cli.arguments import add_json, add_virtual
from ui.cli.exit_codes import DONE
from ui.errors import UserError


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    where = parser.add_mutually_exclusive_group(required=True)
    where.add_argument("--pty", action="store_true", help="on a pseudo-terminal")
    where.add_argument(
        "--tcp",
        type=int,
        metavar="PORT",
        help="on a TCP port of this machine; 0: a free one",
    )
    parser.add_argument(
        "--host", default="", metavar="ADDRESS",
        help="with --tcp: listen there; anything but this machine's own address lets others in",
    )  # fmt: skip
    add_virtual(parser, trainee="E01", seed=0)
    parser.add_argument("--plane", type=float, default=30.0, help="plane of elevation, degrees")
    parser.add_argument("--reps", type=int, default=0, help="repetitions; 0 (default) never ends")
    parser.add_argument("--speed", default="1", help="1 is real time, max as fast as it is taken")
    parser.add_argument(
        "--faults", default="", metavar="LIST", help="such as loss:0.001,flip:1e-5,restart:30"
    )
    parser.add_argument(
        "--truth", type=Path, metavar="FILE", help="write what really happens to a .csv or .json"
    )
    parser.add_argument(
        "--blank", action="store_true", help="a rig that keeps no description of itself yet"
    )
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Serve until Ctrl-C and return the exit code."""
    from functools import partial

    from acquisition.clock import SystemClock
    from acquisition.rig_store import store_with
    from acquisition.transports.url import parse_url, play_speed
    from acquisition.transports.virtual import VirtualPort
    from acquisition.virtual_rig.device import RigDevice
    from acquisition.virtual_rig.faults import parse_faults
    from acquisition.virtual_rig.serve import LOOPBACK, is_loopback, serve_pty, serve_tcp
    from acquisition.virtual_rig.truth_file import write_truth

    if args.host and args.pty:
        raise UserError("--host belongs to --tcp; a pseudo-terminal has no address")
    host = args.host or LOOPBACK
    if not is_loopback(host):
        print(f"warning: everybody who reaches {host} can connect; no password", file=sys.stderr)
    rig = VirtualPort.from_url(parse_url(_url(args))).virtual_rig
    if args.truth is not None:
        write_truth(args.truth, rig)
    faults = parse_faults(args.faults) if args.faults else None
    serve = serve_pty if args.pty else partial(serve_tcp, host=host, port=args.tcp)
    store = {} if args.blank else store_with(rig.rig)
    serve(
        lambda: RigDevice(rig, faults=faults, store=store),
        clock=SystemClock(),
        stop=threading.Event(),
        on_address=lambda url: _tell(url, as_json=args.json),
        speed=play_speed(args.speed),
    )
    return DONE


def _url(args: argparse.Namespace) -> str:
    """Return the URL whose checks these arguments go through."""
    names = ("trainee", "seed", "side", "axes", "plane", "reps")
    options = [f"{name}={getattr(args, name)}" for name in names]
    if args.stabiliser:
        options.append("stabiliser=1")
    if args.faults:
        options.append(f"faults={args.faults}")
    return f"virtual:?{'&'.join([*options, f'speed={args.speed}'])}"


def _tell(url: str, *, as_json: bool) -> None:
    print(json.dumps({"port": url}) if as_json else url, flush=True)
