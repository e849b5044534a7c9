"""A dataset folder of motion data after the Brain Imaging Data Structure (Motion-BIDS).

The series of each recording is a `motion.tsv` with its sidecars; phases are events; people are
codes. Derived quantities are declared MISC, as the standard has no type for force; elevation and
its plane are JNTANG. Analysed data are a derivative there, and the dataset says so.

Source: Brain Imaging Data Structure specification 1.10, motion (Jeung et al. 2024, Sci Data
11:716, doi:10.1038/s41597-024-03559-8).
"""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from acquisition.recording.index import Entry
from acquisition.software import software
from analysis.errors import ExportError
from analysis.export.channels import Channel, columns_of
from analysis.export.phase_events import phase_events
from analysis.tidy.practice import BASELINE, PRACTICE, RETENTION, TRANSFER, Place, role_of
from analysis.trial import Trial

BIDS_VERSION = "1.10.0"
TASK, SYSTEM = "glide", "rig"
NOT_KNOWN = "n/a"
JOINT_ANGLES = ("elevation_deg", "plane_deg")
ON_THE_ARM = ("elevation_deg", "plane_deg", "elevation_speed_deg_s")
COMPONENT = re.compile(r"_([xyz])_")
DIGITS = "%.6g"


@dataclass(frozen=True, slots=True)
class Run:
    """A recording in the dataset.

    Attributes:
        person: Letters and digits only.
        session: From 1.
        run: From 1 in its session.
    """

    person: str
    session: int
    run: int

    @property
    def folder(self) -> str:
        """From the root of the dataset."""
        return f"sub-{self.person}/ses-{self.session:02d}"

    def name(self, suffix: str) -> str:
        """Return a file's name."""
        return (
            f"sub-{self.person}_ses-{self.session:02d}_task-{TASK}_tracksys-{SYSTEM}"
            f"_run-{self.run:02d}_{suffix}"
        )


def runs_of(places: Sequence[Place]) -> dict[str, Run]:
    """Return the run of each recording, by its name; places are in order of person and time."""
    counts: dict[tuple[str, int], int] = {}
    found = {}
    for place in places:
        person = re.sub(r"[^A-Za-z0-9]", "", place.person) or "unknown"
        number = counts.get((person, place.session), 0) + 1
        counts[person, place.session] = number
        found[place.name] = Run(person, place.session, number)
    return found


def write_run(trial: Trial, run: Run, root: Path) -> Path:
    """Write the files of one recording; return that of its series.

    Raises:
        ExportError: pandas is not installed.
        OSError: It cannot be written.
    """
    folder = root / run.folder / "motion"
    folder.mkdir(parents=True, exist_ok=True)
    columns = columns_of(trial.series)[1:]  # the standard has time from the rate alone
    path = folder / run.name("motion.tsv")
    _write_series(path, columns)
    channels = [channel for channel, _ in columns]
    _write_json(folder / run.name("motion.json"), _sidecar(trial, channels))
    rows = [_channel_row(one) for one in channels]
    _write_table(folder / run.name("channels.tsv"), list(rows[0]), rows)
    _write_json(folder / run.name("channels.json"), REFERENCE_FRAMES)
    _write_table(folder / run.name("events.tsv"), EVENT_COLUMNS, _event_rows(trial))
    _write_json(folder / run.name("events.json"), EVENT_MEANINGS)
    return path


def write_dataset(root: Path, told: Sequence[tuple[Run, Entry]]) -> None:
    """Write what belongs to the whole dataset.

    Args:
        root: Its folder.
        told: Each run, and what its recording says of itself.
    """
    _write_json(root / "dataset_description.json", _description())
    (root / "README").write_text(README, encoding="utf-8")
    people = sorted({run.person for run, _ in told})
    _write_table(
        root / "participants.tsv",
        ("participant_id", "group"),
        [{"participant_id": f"sub-{person}", "group": person[:1]} for person in people],
    )
    _write_json(
        root / "participants.json",
        {"group": {"Description": "First letter of the code: the kind of person"}},
    )
    for folder in sorted({run.folder for run, _ in told}):
        rows = [_scan_row(run, entry) for run, entry in told if run.folder == folder]
        _write_table(root / folder / f"{folder.replace('/', '_')}_scans.tsv", list(rows[0]), rows)
    _write_json(root / "scans.json", SCAN_MEANINGS)


def _scan_row(run: Run, entry: Entry) -> dict[str, str]:
    condition = " ".join(entry.label.condition.split())  # a table of tabs and lines has no room
    return {
        "filename": f"motion/{run.name('motion.tsv')}",
        "acq_time": entry.started_utc[:19],
        "condition": condition or NOT_KNOWN,
        "role": role_of(entry.label.condition),
        "trial": str(entry.label.trial) if entry.label.trial else NOT_KNOWN,
        "side": entry.side,
    }


def _write_series(path: Path, columns: Sequence[tuple[Channel, Any]]) -> None:
    try:
        import pandas as pd
    except ImportError as cause:
        raise ExportError(
            "a dataset folder needs pandas: install perpend with its extra [study]"
        ) from cause
    table = pd.DataFrame(
        {channel.name: values * 1 if channel.is_flag else values for channel, values in columns}
    )
    table.to_csv(
        path, sep="\t", header=False, index=False, na_rep=NOT_KNOWN, float_format=DIGITS,
        lineterminator="\n",
    )  # fmt: skip


def _sidecar(trial: Trial, channels: Sequence[Channel]) -> dict[str, Any]:
    angles = sum(channel.name in JOINT_ANGLES for channel in channels)
    target = trial.target
    return {
        "TaskName": TASK,
        "TaskDescription": "Posterolateral glide on a mock humerus, held during elevation of the "
        f"arm ({trial.recording['side']} rig). Target: azimuth {target.glide_azimuth_deg:g} deg, "
        f"inferior tilt {target.inferior_tilt_deg:g} deg.",
        "SamplingFrequency": trial.series.fs_hz,
        "MotionChannelCount": len(channels),
        "JNTANGChannelCount": angles,
        "MiscChannelCount": len(channels) - angles,
        "TrackedPointsCount": 2,
        "TrackingSystemName": "load cell and inertial sensor of a training rig",
        "MissingValues": NOT_KNOWN,
        "DeviceSerialNumber": trial.recording["rig"],
        "SoftwareVersions": software(),
    }


def _channel_row(channel: Channel) -> dict[str, str]:
    component = COMPONENT.search(channel.name)
    return {
        "name": channel.name,
        "component": component[1] if component else NOT_KNOWN,
        "type": "JNTANG" if channel.name in JOINT_ANGLES else "MISC",
        "tracked_point": "humerus" if channel.name in ON_THE_ARM else "humeral_head",
        "units": channel.unit or NOT_KNOWN,
        "reference_frame": "scapula_block",
        "description": channel.meaning,
    }


def _event_rows(trial: Trial) -> list[dict[str, str]]:
    return [
        {
            "onset": f"{event.onset_s:.6g}",
            "duration": f"{event.duration_s:.6g}",
            "trial_type": event.phase,
            "repetition": str(event.repetition),
        }
        for event in phase_events(trial)
    ]


def _description() -> dict[str, Any]:
    return {
        "Name": "Direction of a manual glide on a mock humerus",
        "BIDSVersion": BIDS_VERSION,
        "DatasetType": "derivative",
        "GeneratedBy": [{"Name": "perpend", "Version": software().rpartition(" ")[2]}],
    }


def _write_json(path: Path, content: Mapping[str, Any]) -> None:
    path.write_text(json.dumps(content, indent=2, sort_keys=True) + "\n", encoding="utf-8")


def _write_table(path: Path, columns: Sequence[str], rows: Sequence[Mapping[str, str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns, delimiter="\t", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


EVENT_COLUMNS = ("onset", "duration", "trial_type", "repetition")
EVENT_MEANINGS = {
    "trial_type": {"Description": "Phase of the repetition"},
    "repetition": {"Description": "Number of the repetition in the recording, from 1"},
}
SCAN_MEANINGS = {
    "condition": {"Description": "Condition of the recording, as it was named when it was made"},
    "role": {
        "Description": "What the condition stands for in a study of learning",
        "Levels": {
            BASELINE: "Before practice",
            PRACTICE: "Practice, with or without feedback",
            RETENTION: "Without practice in between",
            TRANSFER: "Under conditions other than practised",
        },
    },
    "trial": {"Description": "Number of the trial, counted for each person"},
    "side": {"Description": "Side of the rig", "Levels": {"left": "Left", "right": "Right"}},
}
"""At the root it holds for every scans.tsv, which may have columns of its own if they are told."""
REFERENCE_FRAMES = {
    "reference_frame": {
        "Levels": {
            "scapula_block": {
                "SpatialAxes": "FUR",
                "RotationRule": "right-hand",
                "RotationOrder": "n/a",
                "Description": "Fixed to the scapula block of the rig: X forward, Y upward, Z "
                "outward (lateral). Left rigs are mirrored, so that all are right shoulders.",
            }
        }
    }
}
README = """\
Pushes of a hand on a mock humerus, resolved in the frame of the scapula.

People are codes, and coded data of people are still personal data: keep and pass them on by your
local rules. A small group can be told apart by its codes' facts alone.

Data of a training rig: not of a medical device, and never of a person who was treated.
"""
