"""Reads a CSV log of another acquisition system: one line for each instant, physical units.

The first line that is neither empty nor a comment (``#``) names the columns; commas,
semicolons or tabs between them. Where these are no commas, numbers may have a decimal comma, all
or none of them. Columns that are not asked for are left alone.
"""

from __future__ import annotations

import csv
import math
import re
from array import array
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from acquisition.errors import RecordingError
from acquisition.rig import STANDARD_GRAVITY_M_S2

FORCE_COLUMNS = ("fx_n", "fy_n", "fz_n")
MOMENT_COLUMNS = ("mx_nm", "my_nm", "mz_nm")
INERTIAL_COLUMNS = (
    *(f"a{axis}_m_s2" for axis in "xyz"),
    *(f"g{axis}_rad_s" for axis in "xyz"),
)
POUND_FORCE_N = 4.4482216152605
UNITS: Mapping[str, Mapping[str, float]] = {
    "s": {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9},
    "n": {"N": 1.0, "kN": 1e3, "mN": 1e-3, "kgf": STANDARD_GRAVITY_M_S2, "lbf": POUND_FORCE_N},
    "nm": {"Nm": 1.0, "Nmm": 1e-3, "kNm": 1e3, "mNm": 1e-3},
    "m_s2": {"m/s2": 1.0, "g": STANDARD_GRAVITY_M_S2, "mg": STANDARD_GRAVITY_M_S2 * 1e-3},
    "rad_s": {"rad/s": 1.0, "deg/s": math.pi / 180, "mdeg/s": math.pi / 180_000},
}
"""Factor of each unit, by the ending of the column's name. kgf and lbf are exact by definition
(CGPM 1901; International yard and pound agreement 1959)."""
MAPPING = re.compile(r"(?P<to>[a-z0-9_]+)=(?P<sign>-?)(?P<name>.+?)(?::(?P<unit>[^:]+))?")


@dataclass(frozen=True, slots=True)
class Source:
    """Where a quantity comes from: a column's name, and what to multiply it by."""

    name: str
    factor: float = 1.0


@dataclass(frozen=True, slots=True)
class CsvLog:
    """What a log says.

    Attributes:
        time_s: Shape (n,), rising.
        values: By column, shape (n,), SI.
        line: Shape (n,), where in the file each instant stands.
    """

    time_s: NDArray[np.float64]
    values: Mapping[str, NDArray[np.float64]]
    line: NDArray[np.int64]


def columns_for(axes: int) -> tuple[str, ...]:
    """Return the columns that a log must have for a cell of so many axes."""
    return ("time_s", *FORCE_COLUMNS, *(MOMENT_COLUMNS * (axes == 6)), *INERTIAL_COLUMNS)


def parse_mapping(texts: Sequence[str], axes: int) -> dict[str, Source]:
    """Return where every column comes from, after ``fx_n=Force_X:kN``; ``-`` turns a sign.

    Raises:
        RecordingError: Not written so, no such column, or no such unit.
    """
    sources = {name: Source(name) for name in columns_for(axes)}
    given: set[str] = set()
    for text in texts:
        match = MAPPING.fullmatch(text)
        if match is None:
            raise RecordingError(f"--map {text!r}: write it like fx_n=Force_X:kN")
        if match["to"] not in sources:
            raise RecordingError(
                f"--map {text!r}: there is no {match['to']!r}; one of {', '.join(sources)}"
            )
        if match["to"] in given:
            raise RecordingError(f"--map {text!r}: {match['to']} is mapped twice; say it once")
        given.add(match["to"])
        units = UNITS[match["to"].partition("_")[2]]
        if match["unit"] and match["unit"] not in units:
            raise RecordingError(
                f"--map {text!r}: unit {match['unit']!r} is none of {', '.join(units)}"
            )
        factor = units[match["unit"]] if match["unit"] else 1.0
        sources[match["to"]] = Source(match["name"], -factor if match["sign"] else factor)
    names = [source.name for source in sources.values()]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise RecordingError(f"--map: the column {twice!r} would be two quantities; map the other")
    return sources


def read_log(path: Path, sources: Mapping[str, Source]) -> CsvLog:
    """Read a log.

    Args:
        path: The file.
        sources: Where each quantity comes from, ``time_s`` among them.

    Raises:
        RecordingError: It cannot be read, a column is missing, or a line is no good; says which.
    """
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            lines, rows = _numbers(path, enumerate(file, 1), sources)
    except csv.Error as cause:
        raise RecordingError(f"{path}: is no CSV text ({cause})") from cause
    except UnicodeDecodeError as cause:
        raise RecordingError(f"{path}: is not UTF-8 text; export it as CSV") from cause
    except OSError as cause:
        raise RecordingError(f"{path}: cannot be read ({cause.strerror})") from cause
    values = dict(zip(sources, rows.T, strict=True))
    time_s, line = values.pop("time_s"), lines
    back = np.flatnonzero(np.diff(time_s) <= 0)
    if len(back):
        raise RecordingError(
            f"{path}: line {line[back[0] + 1]}: time {time_s[back[0] + 1]:.6f} s does not come "
            f"after {time_s[back[0]]:.6f} s; sort the lines, and leave repeated ones out"
        )
    return CsvLog(time_s, values, line)


def _numbers(
    path: Path, lines: Iterator[tuple[int, str]], sources: Mapping[str, Source]
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    content = ((n, text) for n, text in lines if text.strip() and not text.lstrip().startswith("#"))
    head_line, head = next(content, (0, ""))
    if not head:
        raise RecordingError(f"{path}: is empty; its first line must name the columns")
    delimiter = max(",;\t", key=head.count)
    names = [name.strip() for name in next(csv.reader([head], delimiter=delimiter))]
    places = [_place(path, head_line, names, source.name) for source in sources.values()]
    factors = np.array([source.factor for source in sources.values()])
    numbers, rows = array("q"), array("d")  # an hour at 1 kHz as lists takes more than a gigabyte
    read = _Numbers(path, decimal_comma=delimiter != ",")
    for number, text in content:
        cells = next(csv.reader([text], delimiter=delimiter))
        if len(cells) != len(names):
            raise RecordingError(
                f"{path}: line {number}: has {len(cells)} values, line {head_line} names "
                f"{len(names)} columns"
            )
        numbers.append(number)
        rows.extend(read(number, names[place], cells[place]) for place in places)
    values = np.array(rows, dtype=np.float64).reshape(-1, len(places)) * factors
    return np.array(numbers, dtype=np.int64), values


def _place(path: Path, line: int, names: list[str], name: str) -> int:
    if names.count(name) == 1:
        return names.index(name)
    what = "is there twice" if name in names else "is missing"
    raise RecordingError(
        f"{path}: line {line}: column {name!r} {what}; found {', '.join(names)[:200]}; "
        "name another with --map"
    )


class _Numbers:
    """Reads cells; which decimal mark a log uses is settled by the first cell that has one."""

    def __init__(self, path: Path, *, decimal_comma: bool) -> None:
        self._path = path
        self._marks = ",." if decimal_comma else "."
        self._mark = ""

    def __call__(self, line: int, name: str, cell: str) -> float:
        for mark in self._marks:
            if mark in cell:
                self._mark = self._mark or mark
        try:
            text = cell.replace(",", ".") if self._mark == "," else cell
            value = math.nan if "_" in text else float(text)  # Python takes 1_000 for a number
        except ValueError:
            value = math.nan
        mixed = self._mark == "," and "." in cell
        if math.isfinite(value) and not mixed:
            return value
        what = f"{cell.strip()[:40]!r} is no number" if cell.strip() else "is empty"
        other = f"; numbers before have a decimal {self._mark!r}" * (mixed or "," in cell)
        raise RecordingError(
            f"{self._path}: line {line}: {name} {what}{other}; "
            "a line left out altogether counts as a gap"
        )
