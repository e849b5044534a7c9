"""``perpend stream``: publishes the push as a lab streaming layer outlet; nothing is recorded."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from ui.cli.arguments import add_port, add_target, rig_on, target_for
from ui.cli.exit_codes import DONE, INCOMPLETE

if TYPE_CHECKING:
    from acquisition.rig import RigDescription
    from acquisition.session import Session
    from acquisition.sinks import SinkMaker
    from analysis.target import Target
    from firmware_protocol.messages import Identity
    from ui.live.lab_stream import LabStream

LOOK_S = 0.1


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    parser.epilog = (
        "Ctrl-C ends it. To record as well: perpend record --lsl. Other programs find the stream "
        "by its type, PushDirection; times are those of the samples, not of their sending."
    )
    add_port(parser)
    add_target(parser)


def run(args: argparse.Namespace) -> int:
    """Stream until Ctrl-C or the end of the source, and return the exit code."""
    from acquisition.acceptance import check_rig_matches
    from acquisition.clock import SystemClock
    from acquisition.record import PATIENCE_S
    from acquisition.session import Session
    from acquisition.transports import transport_for
    from acquisition.transports.held import HeldPort
    from analysis.target import Target
    from ui.live.lab_outlet import load

    load()  # before the port is opened
    target = target_for(args.target) or Target()
    with HeldPort(transport_for(args.port)) as line:
        rig = rig_on(line, args.port, args.rig)
        session = Session(line, clock=SystemClock(), patience_s=PATIENCE_S)
        try:
            identity = session.connect()
            check_rig_matches(rig, identity)
            session.add_sink(lab_stream(rig, identity, target, critical=True))
        except BaseException:
            session.close("stopped: it never began")
            raise
        return _run(session)


def add_lsl(parser: argparse.ArgumentParser) -> None:
    """Add ``--lsl`` to a verb that does something else as well."""
    parser.add_argument(
        "--lsl",
        action="store_true",
        help="publish the push as a lab streaming layer outlet meanwhile",
    )


def stream_for(args: argparse.Namespace, rig: RigDescription, target: Target) -> SinkMaker | None:
    """Return what makes the listener that ``--lsl`` asks for, None if it was not asked for.

    Raises:
        UserError: The binding cannot be loaded; better said before the port is opened.
    """
    if not args.lsl:
        return None
    from ui.live.lab_outlet import load

    load()
    return lambda identity: lab_stream(rig, identity, target)


def lab_stream(
    rig: RigDescription, identity: Identity, target: Target, *, critical: bool = False
) -> LabStream:
    """Return the listener that streams, with its outlet open, and say so on stderr."""
    from acquisition.clock import SystemClock
    from ui.live.lab_outlet import STREAM_TYPE, LabOutlet
    from ui.live.lab_stream import LabStream

    def outlet(fs_hz: float) -> LabOutlet:
        made = LabOutlet(identity, side=rig.rig.side, fs_hz=fs_hz, clock=SystemClock())
        print(f"streaming {made.name!r} ({STREAM_TYPE}) at {fs_hz:g} Hz", file=sys.stderr)
        return made

    return LabStream(rig, identity, target, outlet, critical=critical)


def _run(session: Session) -> int:
    from acquisition.session import SessionThread

    thread = SessionThread(session)
    thread.start()
    try:
        while not thread.wait(LOOK_S):
            pass
    except KeyboardInterrupt:
        session.finish()  # the ordinary way to end
    finally:
        thread.close()
    if thread.error is not None:
        raise thread.error
    lost = session.counts.missing_samples
    print(f"ended, {lost or 'no'} samples lost", file=sys.stderr)
    return INCOMPLETE if lost else DONE
