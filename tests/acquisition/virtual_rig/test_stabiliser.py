"""A second cell under the stabilising hand: described by the rig, recorded, in newtons again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest

from acquisition.acceptance import check_rig_matches
from acquisition.errors import DescriptionError, PortError
from acquisition.physical import PhysicalUnits
from acquisition.record import record_trial
from acquisition.recording.model import TrialLabel
from acquisition.recording.reader import read_recording
from acquisition.rig import RigDescription, load_rig, rig_from_json
from acquisition.transports.url import parse_url
from acquisition.transports.virtual import VirtualPort
from acquisition.virtual_rig import SensorModel, VirtualRig, default_rig, trainee
from acquisition.virtual_rig.rigs import RIG_FILES, STABILISER_FILE
from acquisition.virtual_rig.stabiliser_cell import StabiliserCell
from acquisition.virtual_rig.world import Phase, WorldState
from firmware_protocol.codec import decode, encode
from firmware_protocol.messages import Identity

Still = Callable[..., WorldState]


def rig_of(code: str, side: str = "right", **options: Any) -> VirtualRig:
    return VirtualRig(default_rig(side, stabiliser=True), trainee(code), seed=7, **options)


@pytest.mark.parametrize("side", ["right", "left"])
def test_counts_turn_back_into_the_push(side: str, still: Still, ideal: SensorModel) -> None:
    """12 N forward, 3 N down, 5 N inward on a right shoulder, on either side."""
    rig = default_rig(side, stabiliser=True)
    assert rig.stabiliser is not None
    cell = StabiliserCell(rig, rig.stabiliser, ideal, seed=1, who="E01")

    counts = cell.counts(still(90.0, stabilising_n=(12.0, -3.0, -5.0)), 0)
    found = PhysicalUnits(rig).stabiliser(counts, cell.spec)

    assert found.force_n[0] == pytest.approx([12.0, -3.0, -5.0], abs=1e-4)
    assert not found.saturated.any()


def test_the_arm_s_pose_does_not_matter_to_it(still: Still, ideal: SensorModel) -> None:
    """It is bolted to the block: nothing of the shell hangs on it."""
    rig = default_rig(stabiliser=True)
    assert rig.stabiliser is not None
    cell = StabiliserCell(rig, rig.stabiliser, ideal, seed=1, who="E01")

    hanging, raised = (cell.counts(still(deg, force_n=(-40.0, 0, 0)), 0) for deg in (0.0, 120.0))

    assert hanging.tolist() == raised.tolist() == [[4120, -2210, 950]]


@pytest.mark.parametrize(
    ("code", "shares"), [("E01", (1.0, 1.0)), ("T12", (0.0, 0.0)), ("T13", (1.0, 0.0))]
)
def test_the_hand_is_there_stays_away_or_lets_go_half_way(
    code: str, shares: tuple[float, float]
) -> None:
    rig = rig_of(code, repetitions=1)
    truth = rig.truth(np.arange(0.0, rig.duration_s, 0.01))
    on = truth.stabilising_n > 5.0

    assert on[truth.phase == Phase.RAISE].mean() == shares[0]
    assert on[truth.phase == Phase.LOWER].mean() == pytest.approx(shares[1], abs=0.06)
    assert not truth.stabilising_n[:200].any()  # hands off at first: the zero needs it
    assert not truth.stabilising_n[-200:].any()


def test_a_rig_with_it_is_recorded_by_the_same_wire(tmp_path: Path) -> None:
    """A stream that the protocol never names: the rig describes it, the host keeps its counts.

    No message, no byte of `PROTOCOL.md` knows it; both ends and the file take it as it is.
    """
    port = "virtual:?trainee=E01&seed=7&reps=1&stabiliser=1&speed=max"
    rig = VirtualPort.from_url(parse_url(port)).virtual_rig
    specs = tuple(stream.spec for stream in rig.streams)
    told = decode(encode(Identity(1, 1, 0, "fw", "R01", 1, specs)))

    assert isinstance(told, Identity)
    assert told.streams[2] == specs[2]
    outcome = record_trial(
        port, tmp_path / "trial.h5", rig=rig.rig, target_json="", label=TrialLabel()
    )
    recording = read_recording(outcome.path)

    assert outcome.whole
    assert set(recording.streams) == {"force", "imu", "stabiliser"}
    stream = recording.streams["stabiliser"]
    assert stream.spec == specs[2]
    assert len(stream.counts) == rig.streams[2].sample_count
    assert (stream.counts == rig.streams[2].counts(0, len(stream.counts))).all()
    assert recording.rig == rig.rig


def test_the_other_streams_are_the_same_with_and_without_it() -> None:
    with_it, without = rig_of("E01"), VirtualRig(default_rig(), trainee("E01"), seed=7)

    assert len(with_it.streams) == 3
    for one, other in zip(with_it.streams, without.streams, strict=False):
        assert (one.counts(0, 3000) == other.counts(0, 3000)).all()


def test_a_rig_s_own_file_may_describe_it(tmp_path: Path) -> None:
    path = tmp_path / "rig.toml"
    texts = (RIG_FILES["right", 3], STABILISER_FILE)
    path.write_text("\n".join(one.read_text(encoding="utf-8") for one in texts), encoding="utf-8")

    rig = load_rig(path)

    assert rig == default_rig(stabiliser=True)
    assert rig_from_json(rig.to_json(), where="here") == rig
    assert [s.spec.name for s in VirtualRig(rig, trainee("E01")).streams][2] == "stabiliser"


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"stream": "imu"}, "taken by the humerus"),
        ({"zero_counts": (1.0,)}, "3 numbers"),
        ({"calibration_matrix": ((1.0, 0.0, 0.0),) * 3}, "stabiliser.calibration_matrix"),
        ({"to_base": ((2.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))}, "stabiliser.to_base"),
    ],
)
def test_a_description_that_cannot_be_is_refused(values: dict[str, Any], message: str) -> None:
    plain = msgspec.to_builtins(default_rig(stabiliser=True))
    plain["stabiliser"] |= values

    with pytest.raises(msgspec.ValidationError, match=message):
        msgspec.convert(plain, RigDescription)


def test_a_rig_that_sends_other_channels_is_refused() -> None:
    rig = rig_of("E01")
    specs = [stream.spec for stream in rig.streams]
    specs[2] = replace(specs[2], channels=specs[2].channels[:1])
    identity = Identity(1, 1, 0, "fw", "R01", 1, tuple(specs))

    with pytest.raises(DescriptionError, match=r"stabiliser.*3 force channels.*sends 1"):
        check_rig_matches(rig.rig, identity)


def test_a_file_and_the_option_contradict_each_other() -> None:
    with pytest.raises(PortError, match="says side, axes and stabiliser itself"):
        VirtualPort.from_url(parse_url("virtual:?rig=x.toml&stabiliser=1"))
