"""The rules of the house that a machine can check."""

from __future__ import annotations

import ast
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
ORDER = ("firmware_protocol", "acquisition", "analysis", "ui")
ONLY_IN = {
    "serial": ("acquisition/transports/",),
    "h5py": ("acquisition/recording/",),
    "scipy": ("analysis/",),
    "vqf": ("analysis/",),
    "PySide6": ("ui/desktop/",),
    "pyqtgraph": ("ui/desktop/",),
    "distributed": ("analysis/study/",),
    "pyarrow": ("analysis/tidy/",),
    "jinja2": ("ui/report/",),
    "pylsl": ("ui/live/lab_outlet.py",),
    "matplotlib": ("ui/report/",),
    "miniaudio": ("ui/live/practice/sound.py",),
    "spm1d": ("analysis/comparison/",),
    "ezc3d": ("analysis/export/",),
}
MAX_LINES = 400
SOURCES = sorted(path for folder in ORDER for path in (ROOT / folder).rglob("*.py"))


def relative(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def imported(tree: ast.AST) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name.split(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            yield node.module.split(".")[0]


@pytest.mark.parametrize("path", SOURCES, ids=relative)
def test_imports_point_down_the_stack(path: Path) -> None:
    """A folder uses folders before it in ORDER, and heavy packages stay in their place."""
    here = relative(path)
    above = ORDER[ORDER.index(here.split("/")[0]) + 1 :]

    for name in imported(ast.parse(path.read_text(encoding="utf-8"))):
        assert name not in above, f"{here} imports {name}, which sits above it"
        assert here.startswith(ONLY_IN.get(name, "")), f"{here} imports {name}; see ONLY_IN"


def test_the_protocol_needs_little() -> None:
    """The wire can be reused by firmware people: no numpy, no ports, no clocks."""
    allowed = {"firmware_protocol", "cobs"}
    found = {
        name
        for path in (ROOT / "firmware_protocol").rglob("*.py")
        for name in imported(ast.parse(path.read_text(encoding="utf-8")))
    }

    foreign = {name for name in found - allowed if not is_standard(name)}

    assert foreign == set()
    assert found.isdisjoint({"socket", "threading", "time", "asyncio"})


def is_standard(name: str) -> bool:
    import sys

    return name in sys.stdlib_module_names


def test_the_rules_can_fail() -> None:
    """The walker sees imports wherever they stand, so the tests above mean something."""
    source = "def f():\n    import h5py\n    from PySide6 import QtCore\n"

    assert list(imported(ast.parse(source))) == ["h5py", "PySide6"]


@pytest.mark.parametrize("path", SOURCES, ids=relative)
def test_modules_stay_small_enough_to_read(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= MAX_LINES


def public_definitions(tree: ast.Module) -> Iterator[ast.FunctionDef | ast.ClassDef]:
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            yield node
            if isinstance(node, ast.ClassDef):
                yield from (
                    item
                    for item in node.body
                    if isinstance(item, ast.FunctionDef) and not item.name.startswith("_")
                )


@pytest.mark.parametrize("path", SOURCES, ids=relative)
def test_every_module_and_public_name_says_what_it_is_for(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))

    silent = [node.name for node in public_definitions(tree) if not documented(node)]

    assert ast.get_docstring(tree), "the module has no docstring"
    assert silent == []


def documented(node: ast.FunctionDef | ast.ClassDef) -> bool:
    if ast.get_docstring(node):
        return True
    decorators = {ast.unparse(decorator) for decorator in node.decorator_list}
    if f"{node.name}.setter" in decorators:  # the property itself says it
        return True
    qt_override = any(character.isupper() for character in node.name)  # documented by Qt
    return bool(decorators & {"override", "typing.override"}) or (
        isinstance(node, ast.FunctionDef) and qt_override
    )


def committed_texts() -> list[Path]:
    listed = subprocess.run(  # noqa: S603, RUF100 - fixed arguments
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=False
    )
    names = listed.stdout.decode().split("\0") if listed.returncode == 0 else []
    kinds = {".py", ".md", ".toml", ".lock", ".txt", ".c", ".h", ".j2", ".css", ""}
    return [ROOT / name for name in names if name and Path(name).suffix in kinds]


def test_no_text_holds_a_path_of_one_machine_or_the_host_of_a_registry() -> None:
    forbidden = re.compile(
        r"(/home/|/root/|/Users/)\w|--?(extra-)?index-url|https?://[^ ]*/(simple|packages)/"
    )
    here = Path(__file__)

    found = [
        f"{relative(path)}:{number}"
        for path in committed_texts()
        if path != here and path.is_file()
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if forbidden.search(line)
    ]

    assert found == []
