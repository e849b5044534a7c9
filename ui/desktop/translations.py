"""Gathers what is to be translated: ``python -m ui.desktop.translations FILE.ts``.

Qt's own extractor finds texts in calls only, but much of what is said is a value of `ui.live`,
where there is no Qt. So the sources are read here: what `tr` is given, what a key does, and every
sentence or word that a model of `ui.live` can say. What was translated before is kept. Edit the
file with Qt's Linguist, then ``pyside6-lrelease FILE.ts -qm ui/desktop/perpend_xx.qm``.
"""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from collections.abc import Iterator, Sequence
from pathlib import Path
from xml.etree import ElementTree as ET

from ui.desktop.words import CONTEXT

UI = Path(__file__).resolve().parents[1]
SPOKEN = (
    *sorted((UI / "live").rglob("*.py")),
    UI / "cli" / "session_guide.py",
    UI / "judged.py",
    UI / "practised.py",
    UI.parent / "analysis" / "criteria.py",
    UI.parent / "analysis" / "stop_drill.py",
)
"""Files whose texts the window shows as they are."""
NAMING = (
    UI.parent / "acquisition" / "health.py",
    UI.parent / "analysis" / "repetition_tracker.py",
)
"""Files of which it shows the names of states."""
SAID = re.compile(r"[a-zäöüß▲▴][\w°%,:'’()-]* ?.*[a-z][.?]?", re.IGNORECASE)
"""What can be a word for people: begins and ends with letters, or is a sentence."""
NOT_SAID = re.compile(r"[A-Z_]+|\w+_\w+|.*[<>/=\\].*|.*\{[^}].*|\w+\.\w+.*|%.*")

SCREEN_WORDS = ("title", "words", "go_on_words")
"""Attributes of `ui.desktop.screens.Screen` that are shown."""
TOML_WORDS = ("title", "name", "say", "text")
"""What a plan or a checklist shows; the name of what has a title is for machines."""


def texts() -> tuple[str, ...]:
    """Return every text of the window that can be translated, each once, in order."""
    desktop = (text for path in sorted((UI / "desktop").glob("*.py")) for text in _given(path))
    spoken = (text for path in SPOKEN for text in (*_given(path), *_said(path)))
    named = (text for path in NAMING for text in _given(path))
    shipped = (text for path in sorted((UI / "live").rglob("*.toml")) for text in _written(path))
    return tuple(dict.fromkeys((*desktop, *spoken, *named, *shipped)))


def gathered(before: str = "") -> str:
    """Return the texts as Qt's translation source.

    Args:
        before: The source so far, whose translations are kept.
    """
    known = {
        message.findtext("source", ""): message.find("translation")
        for message in (ET.fromstring(before).iter("message") if before else ())
    }
    root = ET.Element("TS", version="2.1")
    context = ET.SubElement(root, "context")
    ET.SubElement(context, "name").text = CONTEXT
    for text in texts():
        message = ET.SubElement(context, "message")
        ET.SubElement(message, "source").text = text
        kept = known.get(text)
        if kept is None:
            ET.SubElement(message, "translation", type="unfinished")
        else:
            message.append(kept)
    ET.indent(root)
    return '<?xml version="1.0" encoding="utf-8"?>\n<!DOCTYPE TS>\n' + ET.tostring(
        root, encoding="unicode"
    )


def main(arguments: Sequence[str]) -> int:
    """Write the file that is named, keeping what was translated in it; return the exit code."""
    if len(arguments) != 1:
        sys.stderr.write("name one file, such as perpend_de.ts\n")
        return 2
    path = Path(arguments[0])
    before = path.read_text(encoding="utf-8") if path.exists() else ""
    path.write_text(gathered(before), encoding="utf-8")
    sys.stderr.write(f"{path}: {len(texts())} texts\n")
    return 0


def _given(path: Path) -> Iterator[str]:
    """Yield what `tr` and `said` are given, what each key does, what a screen says of itself."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    constants = {}
    for node in ast.walk(tree):
        match node:
            case ast.Assign([ast.Name(name)], ast.Constant(str(text))):
                constants[name] = text
                yield from filter(None, [text] if name in SCREEN_WORDS else [])
            case ast.ClassDef(bases=[ast.Name("Enum" | "StrEnum")], body=members):
                yield from _texts_of(members)
    for call in ast.walk(tree):
        if isinstance(call, ast.Call) and isinstance(call.func, ast.Name):
            place = {"tr": 0, "said": 0, "Key": 1}.get(call.func.id, len(call.args))
            for argument in call.args[place : place + 1]:
                match argument:
                    case ast.Constant(str(text)):
                        yield from filter(None, [text])
                    case ast.Name(name) if name in constants:
                        yield constants[name]


def _written(path: Path) -> Iterator[str]:
    """Yield what a plan or a checklist that we ship says to people."""
    waiting: list[object] = [tomllib.loads(path.read_text(encoding="utf-8"))]
    while waiting:
        match waiting.pop(0):
            case dict() as table:
                keys = [key for key in TOML_WORDS if key in table]
                yield from (table[key] for key in keys if key != "name" or "title" not in table)
                waiting += table.values()
            case list() as several:
                waiting += several


def _texts_of(members: list[ast.stmt]) -> Iterator[str]:
    """Yield the texts that the members of an enumeration stand for."""
    for member in members:
        match member:
            case ast.Assign([ast.Name()], ast.Constant(str(text))):
                yield text


def _said(path: Path) -> Iterator[str]:
    """Yield the texts of a file that are no documentation and read like words."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    silent = {
        id(node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    parts = {id(part) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr)
             for part in node.values}  # fmt: skip
    for node in ast.walk(tree):
        if not isinstance(node, ast.Constant) or not isinstance(node.value, str):
            continue
        if id(node) in silent or id(node) in parts:
            continue
        if SAID.fullmatch(node.value) and not NOT_SAID.fullmatch(node.value):
            yield node.value


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
