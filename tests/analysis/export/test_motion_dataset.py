"""The dataset folder, held against the standard's own validator and schema."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from bids_validator import BIDSValidator
from bidsschematools.schema import load_schema

from acquisition.recording.index import Entry
from acquisition.recording.model import TrialLabel
from analysis.export.exporters import Item, MotionExport, Order
from analysis.export.motion_dataset import Run, runs_of
from analysis.export.phase_events import phase_events
from analysis.tidy.practice import Place
from analysis.trial import Trial

RUN = "sub-T03/ses-01/motion/sub-T03_ses-01_task-glide_tracksys-rig_run-01"


@pytest.fixture(scope="module")
def root(trial: Trial, recording: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("dataset")
    entry = Entry(
        Path("a.h5"), TrialLabel(person="T03", condition="retention\t1 week", trial=4),
        "2026-01-01T00:00:00Z", "L01", "left", "complete", 30.0, "",
    )  # fmt: skip
    exporter = MotionExport(Order(folder, (), (entry,)))
    exporter.add(Item(entry, recording, trial))
    exporter.close()
    return folder


def table(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, delimiter="\t"))


def test_the_validator_knows_every_file(root: Path) -> None:
    # Package bids-validator: the naming rules of the Brain Imaging Data Structure.
    names = sorted(f"/{path.relative_to(root).as_posix()}" for path in root.rglob("*.*"))

    assert f"/{RUN}_motion.tsv" in names
    assert [name for name in names if not BIDSValidator().is_bids(name)] == []


def test_the_sidecar_has_what_the_schema_requires_and_counts_right(root: Path) -> None:
    sidecar = json.loads((root / f"{RUN}_motion.json").read_text())
    rules = load_schema().rules.sidecars.motion.to_dict()
    levels = {
        name: level["level"] if isinstance(level, dict) else level
        for rule in rules.values()
        for name, level in rule["fields"].items()
    }

    assert {name for name, level in levels.items() if level == "required"} <= set(sidecar)
    assert set(sidecar) <= set(levels)
    counts = sidecar["JNTANGChannelCount"] + sidecar["MiscChannelCount"]
    assert counts == sidecar["MotionChannelCount"] == len(table(root / f"{RUN}_channels.tsv"))


def test_the_channels_use_the_schemas_columns_types_and_components(root: Path) -> None:
    schema = load_schema()
    rows = table(root / f"{RUN}_channels.tsv")
    first = ["name", "component", "type", "tracked_point", "units"]
    components = {*schema.objects.columns.component.enum, "n/a"}

    assert list(rows[0])[: len(first)] == first
    assert {row["type"] for row in rows} <= set(schema.objects.columns.type__channels.enum)
    assert {row["component"] for row in rows} <= components
    assert len({row["name"] for row in rows}) == len(rows)


def test_the_series_comes_back(root: Path, trial: Trial) -> None:
    names = [row["name"] for row in table(root / f"{RUN}_channels.tsv")]
    lines = (root / f"{RUN}_motion.tsv").read_text().splitlines()
    rows = [line.split("\t") for line in lines]
    force = [row[names.index("force_x_N")] for row in rows]
    missing = trial.series.missing

    assert len(rows) == len(trial.series)
    assert {one for one, gone in zip(force, missing, strict=True) if gone} == {"n/a"}
    found = np.array([float(one) for one, gone in zip(force, missing, strict=True) if not gone])
    assert found == pytest.approx(trial.series.force_n[~missing, 0], rel=1e-5, abs=1e-9)


def test_the_phases_are_events(root: Path, trial: Trial) -> None:
    rows = table(root / f"{RUN}_events.tsv")

    assert [row["trial_type"] for row in rows] == [one.phase for one in phase_events(trial)]
    assert all(float(row["duration"]) > 0.0 for row in rows)


def test_condition_role_and_trial_are_kept_and_told(root: Path) -> None:
    (row,) = table(root / "sub-T03/ses-01/sub-T03_ses-01_scans.tsv")
    meanings = json.loads((root / "scans.json").read_text())
    rule = load_schema().rules.tabular_data.modality_agnostic.Scans.to_dict()

    assert row["condition"] == "retention 1 week"
    assert (row["role"], row["trial"], row["side"]) == ("retention", "4", "left")
    assert rule["additional_columns"] == "allowed"
    assert set(row) - {"filename", "acq_time"} == set(meanings)
    assert row["role"] in meanings["role"]["Levels"]
    assert (root / "sub-T03/ses-01" / row["filename"]).is_file()


def test_runs_are_numbered_in_each_session_and_codes_keep_letters_and_digits() -> None:
    places = [
        Place("a", "", "T-1", 1, 0), Place("b", "", "T-1", 1, 0), Place("c", "", "T-1", 2, 0),
        Place("d", "", "", 1, 0),
    ]  # fmt: skip

    assert runs_of(places) == {
        "a": Run("T1", 1, 1), "b": Run("T1", 1, 2), "c": Run("T1", 2, 1), "d": Run("unknown", 1, 1)
    }  # fmt: skip
