from __future__ import annotations

import tomllib
from datetime import date
from pathlib import Path

import msgspec
import pytest

from acquisition.toml_records import read_toml, to_record, toml_text


class Broken(Exception):
    pass


class Point(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    x: float
    y: float = 0.0


def refusal(path: Path) -> str:
    with pytest.raises(Broken) as raised:
        read_toml(path, Broken)
    assert str(raised.value).startswith(str(path))
    return str(raised.value)


def test_a_toml_file_becomes_a_record(tmp_path: Path) -> None:
    path = tmp_path / "p.toml"
    path.write_text("x = 3\n", encoding="utf-8")

    assert to_record(read_toml(path, Broken), Point, where=path, error=Broken) == Point(3.0)


def test_every_way_a_file_can_be_no_toml_is_told(tmp_path: Path) -> None:
    path = tmp_path / "p.toml"
    assert "no such file; name an existing TOML file" in refusal(path)
    assert "cannot be read" in refusal(tmp_path)
    path.write_bytes(b"\xff\xfe\x00")
    assert "is not UTF-8 text" in refusal(path)
    path.write_text("x = ", encoding="utf-8")
    assert "is not valid TOML: Invalid value (at end of document)" in refusal(path)


@pytest.mark.parametrize(
    ("data", "what"),
    [
        ({}, "missing required field `x`"),
        ({"x": "far"}, r"Expected `float`, got `str` - at `\$\.x`"),
        ({"x": 1, "z": 2}, "unknown field `z`"),
    ],
)
def test_a_record_that_does_not_fit_is_told_with_its_key(
    data: dict[str, object], what: str
) -> None:
    with pytest.raises(Broken, match=rf"^here: .*{what}"):
        to_record(data, Point, where="here", error=Broken)


def test_what_is_written_as_toml_reads_back_as_it_was() -> None:
    data = {
        "name": 'a "quoted" Prüfstand\n',
        "on": date(2026, 1, 15),
        "rows": [[1.0, -2.5e-7], [3.0, 4.0]],
        "empty": {},
        "table": {"truth": True, "inner": {"count": 3}},
    }

    assert tomllib.loads(toml_text({**data, "absent": None})) == data
