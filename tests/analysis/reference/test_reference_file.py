from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from analysis.errors import BadReference
from analysis.reference.build import build_reference
from analysis.reference.evidence import RecordingEvidence
from analysis.reference.model import ReferenceSettings
from analysis.reference.reference_file import load_reference, reference_json

People = Callable[..., list[RecordingEvidence]]


@pytest.fixture
def text(people: People) -> str:
    return reference_json(build_reference(people(), ReferenceSettings(resamples=200)))


def test_a_reference_comes_back_as_it_was_written(people: People, tmp_path: Path) -> None:
    reference = build_reference(people(), ReferenceSettings(resamples=200))
    path = tmp_path / "experts.json"
    path.write_text(reference_json(reference), encoding="utf-8")

    again = load_reference(path)

    assert again == reference
    assert reference_json(again) == path.read_text(encoding="utf-8")


def test_the_file_says_where_it_came_from(text: str) -> None:
    data = json.loads(text)

    assert data["recordings"][0]["sha256"] == "0" * 64
    assert data["recordings"][0]["used"] == [1, 2, 3, 4, 5, 6]
    assert data["settings"]["seed"] == 0
    assert set(data["libraries"]) == {"numpy", "scipy", "vqf"}
    assert data["analysis"]["cutoff_hz"] == 10.0
    assert "perpend" in data["software"]


def drop(data: dict[str, Any]) -> None:
    del data["bands"]["force_N"]["ways"]["raise"]["low"]


def shorten(data: dict[str, Any]) -> None:
    data["bands"]["force_N"]["ways"]["raise"]["low"].pop()


def misspell(data: dict[str, Any]) -> None:
    data["experts"][0]["cod"] = data["experts"][0].pop("code")


def one_way(data: dict[str, Any]) -> None:
    del data["experts"][0]["mean"]["force_N"]["lower"]


def other_version(data: dict[str, Any]) -> None:
    data["version"] = 1


def falling(data: dict[str, Any]) -> None:
    data["elevation_deg"].reverse()


@pytest.mark.parametrize(
    ("harm", "message"),
    [
        (drop, r"missing required field `low`.*bands"),
        (shorten, r"bands\.force_N\.raise\.low must have a value for each"),
        (misspell, "unknown field `cod`|missing required field `code`"),
        (one_way, r"experts\.E01\.mean\.force_N must have raise and lower"),
        (other_version, "version 1, this program reads 2"),
        (falling, "elevation_deg must rise"),
    ],
)
def test_a_broken_file_is_refused_with_the_place(
    text: str, tmp_path: Path, harm: Callable[[dict[str, Any]], None], message: str
) -> None:
    data = json.loads(text)
    harm(data)
    path = tmp_path / "experts.json"
    path.write_text(json.dumps(data), encoding="utf-8")

    with pytest.raises(BadReference, match=message) as caught:
        load_reference(path)

    assert "experts.json" in str(caught.value)


@pytest.mark.parametrize("content", ["", "[]", "{}", "[" * 100_000, '{"format": "other"}', "\x00"])
def test_what_is_no_reference_is_refused(tmp_path: Path, content: str) -> None:
    path = tmp_path / "other.json"
    path.write_text(content, encoding="utf-8")

    with pytest.raises(BadReference, match=r"other\.json: is no"):
        load_reference(path)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(BadReference, match="no such file; `perpend reference` makes one"):
        load_reference(tmp_path / "nowhere.json")


def test_every_cut_of_the_file_is_refused(text: str, tmp_path: Path) -> None:
    path = tmp_path / "cut.json"
    for share in range(1, 20):
        path.write_text(text[: len(text) * share // 20], encoding="utf-8")

        with pytest.raises(BadReference, match=r"cut\.json"):
            load_reference(path)
