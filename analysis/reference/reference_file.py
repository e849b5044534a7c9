"""Reading and writing the file of a reference: strictly, and the same reference the same bytes."""

from __future__ import annotations

import json
import re
from pathlib import Path

import msgspec

from acquisition.toml_records import to_record
from analysis.errors import BadReference
from analysis.reference.model import FORMAT, VERSION, Reference

MOST_BYTES = 20_000_000
"""A hundred experts take a quarter of it; more is no reference."""
NUMBERS = re.compile(r"\[[-+0-9.,eE\snul]*\]")


def load_reference(path: Path | str) -> Reference:
    """Read a reference.

    Raises:
        BadReference: It is missing, no reference or broken; one line says what and where.
    """
    path = Path(path)
    data = _plain(path)
    if not isinstance(data, dict) or data.get("format") != FORMAT:
        raise BadReference(f"{path}: is no reference; `perpend reference` makes one")
    if data.get("version") != VERSION:
        raise BadReference(
            f"{path}: is a reference of version {data.get('version')!r}, this program reads "
            f"{VERSION}; make it again from its recordings"
        )
    return to_record(data, Reference, where=path, error=BadReference)


def reference_json(reference: Reference) -> str:
    """Return the text of the file; the numbers of a line stand on one line."""
    text = json.dumps(msgspec.to_builtins(reference), indent=1, allow_nan=False)
    return NUMBERS.sub(lambda found: " ".join(found.group().split()), text) + "\n"


def _plain(path: Path) -> object:
    try:
        if path.stat().st_size > MOST_BYTES:
            raise BadReference(f"{path}: is too large for a reference")
        return json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise BadReference(f"{path}: no such file; `perpend reference` makes one") from None
    except OSError as cause:
        raise BadReference(f"{path}: cannot be read ({cause.strerror})") from cause
    except (ValueError, RecursionError) as cause:
        raise BadReference(f"{path}: is not valid JSON ({cause})") from cause
