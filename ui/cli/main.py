"""Parse, call, translate: the ``perpend`` command.

Every verb is one file here and one line in `VERBS`. A verb loads what it needs when it runs, so
that ``perpend --help`` needs the standard library only.
"""

from __future__ import annotations

import argparse
import importlib
import io
import os
import sys
from collections.abc import Sequence

from ui.cli.exit_codes import DONE, FAILED, INTERRUPTED, MEANINGS, USAGE

VERBS: tuple[tuple[str, str], ...] = (
    ("demo", "the main job on the virtual rig: record, resolve, print the table, write the report"),
    ("live", "open the trainer window on a port, the virtual rig or a recording played back"),
    ("review", "play a recording back in the window, or two beside each other"),
    ("record", "record a trial from a port into a file"),
    ("stream", "publish the push as a lab streaming layer outlet, without recording"),
    ("info", "say what is in a recording"),
    ("verify", "check whether recordings are whole, and say what is not"),
    ("salvage", "make a clean recording out of a broken one, which stays as it is"),
    ("bring-in", "make a recording out of a CSV log of another acquisition system"),
    ("forget", "delete the recordings of a person, or give the person another code"),
    ("analyse", "measure one or many recordings"),
    ("report", "write the HTML report of a recording"),
    ("assess", "write the result sheet of an examination: criteria and the checklist"),
    ("reference", "build an expert reference band from recordings"),
    ("compare", "a trainee beside the experts, or after beside before, along the arc"),
    ("export", "recordings as tables, C3D or a dataset folder, for other programs"),
    ("study", "many recordings of many people: tables, progress, variability, reliability"),
    ("ports", "list serial devices, saying which answer as a rig"),
    ("rig", "show and change how a rig is set and what it keeps, its description too"),
    ("check", "test a rig before use: identity, rates, noise, zero, sign and side, home, gravity"),
    ("simulate", "serve a virtual rig on a pseudo-terminal or a loopback TCP port"),
)
"""Name and help of each verb; the module of that name here (_ for -) has `add_arguments`, `run`."""

EXIT_CODES = "\n".join(f"  {code:3}  {meaning}" for code, meaning in MEANINGS.items())
EPILOG = f"""\
exit codes:
{EXIT_CODES}

Results go to stdout, talk goes to stderr. perpend VERB --help explains a verb.
A training aid on a rig. Not a medical device; never used on a person.
"""


def build_parser() -> argparse.ArgumentParser:
    """Return the parser of the whole command."""
    parser = argparse.ArgumentParser(
        prog="perpend",
        description="Direction of a push on a mock humerus: acquire, resolve, show live, report.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="store_true", help="print the version and stop")
    _add_debug(parser, default=False)
    verbs = parser.add_subparsers(dest="verb", metavar="VERB", title="verbs")
    for name, text in VERBS:
        verb = verbs.add_parser(name, help=text, description=text[0].upper() + text[1:] + ".")
        module = importlib.import_module(f"ui.cli.{name.replace('-', '_')}")
        module.add_arguments(verb)
        # Suppressed, so that a verb does not undo what stood before it.
        _add_debug(verb, default=argparse.SUPPRESS)
        verb.set_defaults(run=module.run)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run one verb and return the process exit code."""
    parser = build_parser()
    args = parser.parse_args(argv)
    if args.version:
        return _print_version()
    if args.verb is None:
        parser.print_help(sys.stderr)
        return USAGE
    try:
        code = int(args.run(args))
        sys.stdout.flush()  # here, where a reader that has gone can be told from a fault
    except KeyboardInterrupt:
        print(f"perpend {args.verb}: interrupted", file=sys.stderr)
        return INTERRUPTED
    except BrokenPipeError:
        # Whoever read our output has enough; say nothing more, also not at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except Exception as error:
        if args.debug or not _is_for_people(error):
            raise
        print(f"perpend {args.verb}: {one_line(error)}", file=sys.stderr)
        return FAILED
    return code


def run() -> None:
    """Be the console command."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal without ✓ still gets its numbers
    sys.exit(main())


def one_line(error: Exception) -> str:
    """Return what an error says, on one line, without the number a system error has."""
    if isinstance(error, OSError) and error.filename is not None and error.strerror:
        return f"{error.filename}: {error.strerror}"
    return " ".join(str(error).splitlines())


def _add_debug(parser: argparse.ArgumentParser, *, default: object) -> None:
    parser.add_argument(
        "--debug",
        "--verbose",
        action="store_true",
        default=default,
        help="show where an error comes from",
    )


def _is_for_people(error: Exception) -> bool:
    # Imported late, for the speed of --help.
    from acquisition.errors import AcquisitionError
    from analysis.errors import AnalysisError
    from firmware_protocol.errors import ProtocolError
    from ui.errors import UserError

    return isinstance(error, AcquisitionError | AnalysisError | ProtocolError | UserError | OSError)


def _print_version() -> int:
    from acquisition.software import software

    print(software())
    return DONE
