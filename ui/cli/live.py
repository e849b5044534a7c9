"""``perpend live``: opens the trainer window."""

from __future__ import annotations

import argparse
import contextlib
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from ui.cli.arguments import (
    add_label,
    add_language,
    add_port,
    add_target,
    existing_folder,
    label_for,
    rig_for,
    target_for,
)
from ui.cli.stream import add_lsl, stream_for
from ui.errors import UserError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from acquisition.recording.model import TrialLabel
    from acquisition.rig import RigDescription
    from acquisition.sinks import SinkMaker
    from analysis.reference.model import Reference
    from analysis.target import Target
    from ui.live.moment import Trainer


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the verb."""
    add_port(parser, required=False, without="; without it, choose on the screen")
    add_target(parser)
    add_label(parser)
    parser.add_argument(
        "--out", type=Path, default=Path(), metavar="DIR", help="folder for recordings"
    )
    group = parser.add_argument_group("practice")
    group.add_argument(
        "--plan", metavar="NAME", help="plan to follow: one that ships, or a TOML file"
    )
    group.add_argument(
        "--reference",
        type=Path,
        metavar="JSON",
        help="show the experts' band, of perpend reference",
    )
    group.add_argument(
        "--checklist", type=Path, metavar="TOML", help="the instructor's own; key L shows it"
    )
    group.add_argument("--sound", action="store_true", help="let what is wrong be heard")
    add_lsl(parser)
    add_language(parser)


def run(args: argparse.Namespace) -> int:
    """Open the window and return its exit code."""
    from analysis.target import Target

    if args.language:
        with _needing_qt():
            from ui.desktop import use_language

            use_language(args.language)
    reference = _reference(args.reference)
    # Without a target of its own a trainee is shown what the experts were measured against.
    own = reference.target if reference is not None else Target()
    target = target_for(args.target) or own
    if args.port is None:
        return _guided(args, target, reference)
    rig = rig_for(args.port, args.rig)
    return open_window(
        args.port,
        out_dir=existing_folder(args.out),
        rig=rig,
        target=target,
        label=label_for(args),
        also=stream_for(args, rig, target),
        prepare=practice_of(args.plan, reference, checklist=args.checklist, sound=args.sound),
    )


def _guided(args: argparse.Namespace, target: Target, reference: Reference | None) -> int:
    """Lead from choosing the rig to the review."""
    from ui.cli.session_guide import ways
    from ui.live.flow import Flow
    from ui.live.practice.plan import plan_named

    if args.lsl:
        raise UserError("--lsl needs --port: another program must know what it listens to")
    if args.plan:
        plan_named(args.plan)  # refused now, not when somebody stands there
    flow = Flow(
        ways(args.rig),
        out_dir=existing_folder(args.out),
        target=target,
        label=label_for(args),
        plan=args.plan or "",
        prepare=practice_of(None, reference, checklist=args.checklist, sound=args.sound),
    )
    with _needing_qt():
        from ui.desktop import open_guided_window

        return open_guided_window(flow)


@contextlib.contextmanager
def _needing_qt() -> Iterator[None]:
    try:
        yield
    except ImportError as cause:  # Qt itself, or a library of the system that it needs
        raise UserError(
            f"the window needs Qt ({cause}); install perpend with its desktop extra, "
            "and the system's libraries that `make live` names"
        ) from cause


def _reference(path: Path | None) -> Reference | None:
    from analysis.reference.reference_file import load_reference

    if path is None:
        return None
    from ui.banded import doubts

    reference = load_reference(path)
    for doubt in doubts(reference):
        print(f"perpend live: {path}: {doubt}", file=sys.stderr)
    return reference


def practice_of(
    plan: str | None,
    reference: Reference | None = None,
    *,
    checklist: Path | None = None,
    sound: bool = False,
) -> Callable[[Trainer], None]:
    """Return what begins practice once the rig streams.

    Args:
        plan: Name or file, None to practise freely.
        reference: Experts whose band is shown, None for none.
        checklist: The instructor's own, None for the sample.
        sound: Turn the tones on.

    Raises:
        PlanError: There is no such plan, or it is broken.
        ChecklistError: Likewise the checklist.
    """
    from ui.live.practice.checklist import load_checklist
    from ui.live.practice.plan import plan_named

    if plan is not None:
        plan_named(plan)  # refused now, not when the window is open
    items = load_checklist(checklist)

    def begin(trainer: Trainer) -> None:
        from ui.live.practice.run import practice_for

        if plan is not None:
            trainer.practice = practice_for(plan, trainer.feed)
            trainer.record_soon = True
        trainer.take_checklist(items)
        if reference is not None:
            trainer.show_reference(reference)
        if sound:
            trainer.toggle_sound()

    return begin


def open_window(
    port: str,
    *,
    out_dir: Path,
    rig: RigDescription | None = None,
    target: Target | None = None,
    label: TrialLabel | None = None,
    also: SinkMaker | None = None,
    prepare: Callable[[Trainer], None] | None = None,
) -> int:
    """Open the window on a port; what is not given has its default.

    Raises:
        UserError: The desktop part is not installed.
    """
    from acquisition.recording.model import TrialLabel
    from analysis.target import Target
    from ui.desktop import open_live_window

    with _needing_qt():
        return open_live_window(
            port,
            rig=rig or rig_for(port, None),
            target=target or Target(),
            out_dir=out_dir,
            label=label or TrialLabel(),
            also=also,
            prepare=prepare,
        )
