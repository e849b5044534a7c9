"""The self-test finds what is wrong with a rig, and says so."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import analysis
from acquisition.recording.model import Recording
from acquisition.rig import RigDescription
from analysis.rig_check import check_rig, self_test_finding
from analysis.target import Target
from analysis.trial import QualityFinding, Severity
from firmware_protocol.messages import (
    NO_STREAM,
    PROTOCOL_MAJOR,
    PROTOCOL_MINOR,
    Fault,
    FaultCode,
)

Maker = Callable[..., Any]
SECONDS = 8.0


def between(recording: Recording, start_s: float, stop_s: float) -> Recording:
    """Keep a part of a recording."""
    streams = {
        name: replace(
            stream,
            **{
                field: getattr(stream, field)[
                    int(start_s * stream.spec.rate_hz) : int(stop_s * stream.spec.rate_hz)
                ]
                for field in ("sample_number", "device_time_us", "counts", "segment", "arrival_ns")
            },
        )
        for name, stream in recording.streams.items()
    }
    return replace(recording, streams=streams)


def short(recording: Recording) -> Recording:
    """Keep the first seconds: rest, and a push at home."""
    return between(recording, 0.0, SECONDS)


def with_cell(rig: RigDescription, **changes: object) -> RigDescription:
    return msgspec.structs.replace(rig, cell=msgspec.structs.replace(rig.cell, **changes))


def finding(recording: Recording, key: str) -> QualityFinding:
    return next(one for one in check_rig(recording) if one.key == key)


@pytest.mark.parametrize("side", ["right", "left"])
def test_a_good_rig_passes_everything(told: Maker, side: str) -> None:
    recording = replace(
        short(told(side=side, seed=7).recording), started_utc="2026-11-01T00:00:00Z"
    )

    findings = check_rig(recording)

    assert [one for one in findings if one.severity is not Severity.FINE] == []
    assert "as it was meant" in finding(recording, "sign_and_side").value


def test_a_description_of_the_other_side_is_found(told: Maker) -> None:
    recording = short(told(seed=7).recording)
    wrong = msgspec.structs.replace(
        recording.rig, rig=msgspec.structs.replace(recording.rig.rig, side="left")
    )

    found = finding(replace(recording, rig=wrong), "sign_and_side")

    assert found.severity is Severity.WARNING
    assert "mirrored" in found.value


def test_a_turned_sign_is_found(told: Maker) -> None:
    recording = short(told(seed=7).recording)
    matrix = (-np.array(recording.rig.cell.calibration_matrix)).tolist()
    turned = with_cell(recording.rig, calibration_matrix=tuple(map(tuple, matrix)))

    found = finding(replace(recording, rig=turned), "sign_and_side")

    assert found.severity is Severity.WARNING
    assert "sign" in found.value


def turned_inward(recording: Recording, degrees: float) -> Recording:
    """Let the cell be turned about the arm, so that pushes read further inward; weight stays."""
    turn = Rotation.from_euler("y", -degrees, degrees=True).as_matrix()
    rows = turn @ np.array(recording.rig.cell.to_humerus)
    return replace(recording, rig=with_cell(recording.rig, to_humerus=tuple(map(tuple, rows))))


@pytest.mark.parametrize(("inward_deg", "azimuth_deg"), [(27.0, 30.0), (27.0, 0.0), (33.0, 2.0)])
def test_a_push_straight_back_does_not_prove_the_side(
    told: Maker, inward_deg: float, azimuth_deg: float
) -> None:
    """Whether the side is right or wrong it reads nearly the same, and must not pass."""
    recording = turned_inward(short(told(seed=7).recording), inward_deg)

    for side in ("right", "left"):
        rig = msgspec.structs.replace(
            recording.rig, rig=msgspec.structs.replace(recording.rig.rig, side=side)
        )
        findings = check_rig(replace(recording, rig=rig), Target(glide_azimuth_deg=azimuth_deg))
        found = next(one for one in findings if one.key == "sign_and_side")

        assert found.severity is Severity.WARNING
        assert "mirrored" in found.value


@pytest.mark.parametrize("azimuth_deg", [0.0, 5.0, 15.0, 90.0])
def test_a_push_outward_proves_the_side_whatever_the_target(
    told: Maker, azimuth_deg: float
) -> None:
    recording = short(told(seed=7).recording)

    findings = check_rig(recording, Target(glide_azimuth_deg=azimuth_deg))

    found = next(one for one in findings if one.key == "sign_and_side")
    assert found.severity is Severity.FINE


def test_without_a_push_it_says_what_to_do(told: Maker) -> None:
    recording = short(told(seed=7).recording)
    force = recording.streams["force"]
    quiet = replace(force, counts=np.tile(force.counts[:2000], (4, 1)))

    found = finding(
        replace(recording, streams={**recording.streams, "force": quiet}), "sign_and_side"
    )

    assert found.severity is Severity.WARNING
    assert "not known" in found.value
    assert "Push backward" in found.advice


@pytest.mark.parametrize(
    ("minor", "severity", "advice"),
    [
        (PROTOCOL_MINOR, Severity.FINE, "What both know works"),
        (PROTOCOL_MINOR + 1, Severity.NOTE, "a newer perpend"),
    ],
)
def test_who_the_rig_is_and_what_it_speaks_is_told(
    told: Maker, minor: int, severity: Severity, advice: str
) -> None:
    recording = short(told(seed=7).recording)
    identity = replace(recording.identity, protocol_minor=minor, firmware_version="fw 2.1")

    found = finding(replace(recording, identity=identity), "versions")

    assert found.severity is severity
    assert found.value.startswith(f"rig {identity.rig_serial}, firmware fw 2.1, protocol 1.{minor}")
    assert found.limit == f"protocol {PROTOCOL_MAJOR}.{PROTOCOL_MINOR}"
    assert advice in found.advice


def test_every_finding_of_the_check_stands_in_the_conventions(told: Maker) -> None:
    page = Path(str(analysis.__file__)).with_name("CONVENTIONS.md").read_text(encoding="utf-8")
    recording = short(told(seed=7).recording)
    findings = [self_test_finding(passed=True, detail=""), *check_rig(recording)]

    for one in findings:
        key = re.sub(r"^(lost_samples|rate|jitter|stuck)_.*", r"\1_…", one.key)
        assert f"`{key}`" in page


def test_a_large_zero_is_told(told: Maker) -> None:
    recording = short(told(seed=7).recording)
    shifted = with_cell(recording.rig, zero_counts=(400_000.0, 0.0, 0.0))

    found = finding(replace(recording, rig=shifted), "zero_offset")

    assert found.severity is Severity.NOTE


def test_a_zero_of_a_fifth_of_the_range_is_a_fault(told: Maker) -> None:
    """46 N untouched is no zero to be taken out: the cell was overloaded, or is wedged in."""
    recording = short(told(seed=7).recording)
    shift = 46.0 / np.linalg.norm(np.array(recording.rig.cell.calibration_matrix)[:3, 0])
    shifted = with_cell(recording.rig, zero_counts=(shift, 0.0, 0.0))
    stronger = with_cell(shifted, calibrated_to_n=300.0)

    found = finding(replace(recording, rig=shifted), "zero_offset")
    of_more = finding(replace(recording, rig=stronger), "zero_offset")

    assert float(found.value.split()[0]) == pytest.approx(
        46.0, abs=3.0
    )  # and what was there before
    assert (found.severity, found.limit) == (Severity.WARNING, "10 N, a fault beyond 30 N")
    assert (of_more.severity, of_more.limit) == (Severity.NOTE, "10 N, a fault beyond 60 N")


@pytest.mark.parametrize("name", ["imu", "force"])
def test_a_sensor_that_hangs_is_found(told: Maker, name: str) -> None:
    recording = short(told(seed=7).recording)
    stream = recording.streams[name]
    hung = replace(stream, counts=np.tile(stream.counts[:1], (len(stream.counts), 1)))

    found = finding(replace(recording, streams={**recording.streams, name: hung}), f"stuck_{name}")

    assert found.severity is Severity.WARNING
    assert re.match(r"the same counts for 799[89] ms at most, never another of ", found.value)


def test_an_arm_that_never_hangs_still_gets_an_answer(told: Maker) -> None:
    fault = Fault(1, FaultCode.BRIDGE_OPEN, NO_STREAM, "")
    recording = replace(between(told(seed=7).recording, 9.0, 16.0), faults=(fault,))

    findings = check_rig(recording)

    assert findings[0].key == "resolving"
    assert findings[0].severity is Severity.WARNING
    keys = [one.key for one in findings]
    assert len(set(keys)) == len(keys)
    assert {"versions", "rig_identity", "rate_force", "rate_imu", "noise", "zero_offset"} < {*keys}
    assert "bridge open" in next(one.value for one in findings if one.key == "rig_faults")


def test_a_rig_whose_inertial_unit_is_dead_is_told_what_can_be_told(told: Maker) -> None:
    recording = short(told(seed=7).recording)
    imu = recording.streams["imu"]
    dead = replace(
        imu,
        **{
            field: getattr(imu, field)[:0]
            for field in ("sample_number", "device_time_us", "counts", "segment", "arrival_ns")
        },
    )

    findings = {
        one.key: one
        for one in check_rig(replace(recording, streams={**recording.streams, "imu": dead}))
    }

    assert "stream 'imu' holds 0 samples" in findings["resolving"].value
    assert findings["zero_offset"].severity is Severity.WARNING
    assert findings["noise"].severity is Severity.FINE
    assert findings["rate_force"].severity is Severity.FINE


def test_a_cell_too_loud_to_be_zeroed_is_told_to_be_noisy(told: Maker) -> None:
    recording = short(told(seed=7).recording)
    force = recording.streams["force"]
    loud = np.random.default_rng(3).normal(0.0, 60_000.0, force.counts.shape).astype(np.int32)
    streams = {**recording.streams, "force": replace(force, counts=force.counts + loud)}

    findings = check_rig(replace(recording, streams=streams))

    assert "no zero" in next(one.value for one in findings if one.key == "resolving")
    noise = next(one for one in findings if one.key == "noise")
    assert noise.severity is Severity.WARNING
    assert float(noise.value.split()[0]) == pytest.approx(3.0, rel=0.1)
