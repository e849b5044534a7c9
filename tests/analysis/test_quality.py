"""Each thing that can be wrong with a recording is found, named, and told what to do about."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from datetime import date
from typing import Any

import msgspec
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from acquisition.recording.model import Event, LinkCounts, Recording, StreamData
from acquisition.virtual_rig import SensorModel
from analysis.pipeline import analyse
from analysis.practice import PRACTICE_EVENT
from analysis.quality import CHECKS, assess_unresolved, effective_rate_hz, losses
from analysis.quality.evidence import Unresolved
from analysis.quality.line import rate, silent
from analysis.quality.reported import faults
from analysis.quality.sensors import stuck
from analysis.trial import QualityFinding, Severity
from firmware_protocol.messages import FORCE_STREAM, IMU_STREAM, NO_STREAM, Fault, FaultCode

Maker = Callable[..., Any]
Change = Callable[[Recording], Recording]
MODEL = SensorModel(force_rate_hz=200.0, imu_rate_hz=200.0)


@pytest.fixture(scope="module")
def sound(told: Maker) -> Recording:
    made: Recording = told(repetitions=1, seed=4, model=MODEL).recording
    return dataclasses.replace(made, started_utc="2026-03-01T10:00:00Z")  # after its calibration


def findings(recording: Recording) -> dict[str, QualityFinding]:
    return {finding.key: finding for finding in analyse(recording).quality}


def rows(stream: StreamData, keep: Any) -> StreamData:
    columns = {
        field.name: getattr(stream, field.name)[keep]
        for field in dataclasses.fields(StreamData)
        if field.name != "spec"
    }
    return dataclasses.replace(stream, **columns)


def with_stream(recording: Recording, name: str, stream: StreamData) -> Recording:
    return dataclasses.replace(recording, streams={**recording.streams, name: stream})


def with_rig(recording: Recording, table: str, **changes: Any) -> Recording:
    part = msgspec.structs.replace(getattr(recording.rig, table), **changes)
    return dataclasses.replace(
        recording, rig=msgspec.structs.replace(recording.rig, **{table: part})
    )


def cut_off(recording: Recording) -> Recording:
    return dataclasses.replace(recording, status="recording")


def lose_force(recording: Recording) -> Recording:
    stream = recording.streams[FORCE_STREAM]
    number = stream.sample_number
    return with_stream(recording, FORCE_STREAM, rows(stream, (number < 3000) | (number >= 3400)))


def lose_imu_twice(recording: Recording) -> Recording:
    """Between two long gaps with the arm in the air nothing tells the heading."""
    stream = recording.streams[IMU_STREAM]
    number = stream.sample_number
    gone = ((number > 1500) & (number < 1700)) | ((number > 2500) & (number < 2700))
    return with_stream(recording, IMU_STREAM, rows(stream, ~gone))


def come_back(recording: Recording) -> Recording:
    stream = recording.streams[FORCE_STREAM]
    late = (stream.sample_number > 4000).astype(np.int64)
    return with_stream(recording, FORCE_STREAM, dataclasses.replace(stream, segment=late))


def saturate(recording: Recording) -> Recording:
    stream = recording.streams[FORCE_STREAM]
    counts = stream.counts.copy()
    counts[3000:3010, 1] = stream.spec.channels[1].count_min
    return with_stream(recording, FORCE_STREAM, dataclasses.replace(stream, counts=counts))


def spike(recording: Recording) -> Recording:
    stream = recording.streams[FORCE_STREAM]
    counts = stream.counts.copy()
    counts[2500, 0] += 900_000
    return with_stream(recording, FORCE_STREAM, dataclasses.replace(stream, counts=counts))


def shake_stamps(recording: Recording) -> Recording:
    stream = recording.streams[IMU_STREAM]
    shift = np.random.default_rng(1).normal(0.0, 1500.0, len(stream.counts)).astype(np.int64)
    times = stream.device_time_us + shift
    return with_stream(recording, IMU_STREAM, dataclasses.replace(stream, device_time_us=times))


def run_slow(recording: Recording) -> Recording:
    streams = {
        name: dataclasses.replace(
            stream,
            device_time_us=stream.device_time_us[0]
            + ((stream.device_time_us - stream.device_time_us[0]) * 1.02).astype(np.int64),
        )
        for name, stream in recording.streams.items()
    }
    return dataclasses.replace(recording, streams=streams)


def lay_hand_on_later(recording: Recording) -> Recording:
    """From the end of the lift on the quiet cell shows 3 N more."""
    stream = recording.streams[FORCE_STREAM]
    counts = stream.counts.copy()
    counts[-500:, 0] += 60_000
    return with_stream(recording, FORCE_STREAM, dataclasses.replace(stream, counts=counts))


def bend_accelerometer(recording: Recording) -> Recording:
    return with_rig(recording, "imu", accel_offset_m_s2=(0.3, -0.2, 0.25))


def slope_bench(recording: Recording) -> Recording:
    slope = float(np.deg2rad(3.0))
    up = (float(np.sin(slope)), float(np.cos(slope)), 0.0)
    return with_rig(recording, "home", vertical_in_base=up)


def other_scale(recording: Recording) -> Recording:
    stream = recording.streams[IMU_STREAM]
    channels = tuple(
        dataclasses.replace(channel, scale=channel.scale * 1.03) for channel in stream.spec.channels
    )
    spec = dataclasses.replace(stream.spec, channels=channels)
    return with_stream(recording, IMU_STREAM, dataclasses.replace(stream, spec=spec))


def state_no_noise(recording: Recording) -> Recording:
    return with_rig(recording, "cell", noise_n=None)


def other_rig(recording: Recording) -> Recording:
    identity = dataclasses.replace(recording.identity, rig_serial="R99")
    return dataclasses.replace(recording, identity=identity)


def old_calibration(recording: Recording) -> Recording:
    return with_rig(recording, "cell", calibrated_on=date(2019, 5, 1))


def small_calibration(recording: Recording) -> Recording:
    """The hand of E01 pushes with 42 N."""
    return with_rig(recording, "cell", calibrated_to_n=30.0)


def bad_line(recording: Recording) -> Recording:
    return dataclasses.replace(recording, counts=LinkCounts(frames=900, bad_frames=7))


def garble_plan(recording: Recording) -> Recording:
    first_ns = int(recording.streams["force"].arrival_ns[0])
    garbled = Event(first_ns, 0, PRACTICE_EVENT, '{"what":"armed"}')
    return dataclasses.replace(recording, events=(*recording.events, garbled))


def report_faults(recording: Recording) -> Recording:
    fault = Fault(9_000_000, FaultCode.IMU_SILENT, NO_STREAM, "")
    return dataclasses.replace(recording, faults=(fault,))


def out_of_order(recording: Recording) -> Recording:
    return dataclasses.replace(recording, counts=LinkCounts(frames=900, reordered_samples=10))


def too_slow(recording: Recording) -> Recording:
    counts = LinkCounts(frames=900, dropped_by_host_samples=40)
    return dataclasses.replace(recording, counts=counts)


def biased_gyro(recording: Recording) -> Recording:
    return with_rig(recording, "imu", gyro_offset_rad_s=(0.08, 0.0, -0.05))


def add_force(recording: Recording, added: NDArray[np.float64]) -> Recording:
    """Add counts (n,) to the first force channel."""
    stream = recording.streams[FORCE_STREAM]
    counts = stream.counts.copy()
    counts[:, 0] += np.round(added).astype(np.int32)
    return with_stream(recording, FORCE_STREAM, dataclasses.replace(stream, counts=counts))


def add_noise(recording: Recording) -> Recording:
    """Half a newton, white, of which the low-pass at 10 Hz leaves a third at 200 Hz."""
    size = len(recording.streams[FORCE_STREAM].counts)
    return add_force(recording, np.random.default_rng(1).normal(0.0, 10_000.0, size))


def warm_up(recording: Recording) -> Recording:
    """The zero moves by half a newton over the recording."""
    return add_force(
        recording, np.linspace(0.0, 10_000.0, len(recording.streams[FORCE_STREAM].counts))
    )


def take_zero_while_pushing(recording: Recording) -> Recording:
    first = int(recording.streams[FORCE_STREAM].device_time_us[0])
    return dataclasses.replace(recording, events=(Event(0, first + 12_000_000, "zero", ""),))


def turn_imu(recording: Recording, turns: Rotation) -> Recording:
    """Let the inertial unit turn against the arm."""
    stream = recording.streams[IMU_STREAM]
    turned = np.hstack([turns.apply(part) for part in np.hsplit(stream.counts, 2)])
    counts = np.round(turned).astype(np.int32)
    return with_stream(recording, IMU_STREAM, dataclasses.replace(stream, counts=counts))


def bump(recording: Recording) -> Recording:
    """From the middle on everything leans by 2 degrees about a slanted axis."""
    size = len(recording.streams[IMU_STREAM].counts)
    late = np.arange(size) > size / 2
    axis = np.array([0.6, 0.5, -0.6]) / np.sqrt(0.97)
    return turn_imu(recording, Rotation.from_rotvec(np.outer(late * np.deg2rad(2.0), axis)))


def turn_slowly_in_the_lift(recording: Recording) -> Recording:
    """The gyro reads 1 °/s too much about all axes, but only while the arm is up."""
    stream = recording.streams[IMU_STREAM]
    number = np.arange(len(stream.counts))
    middle = (number > 1400) & (number < len(number) - 1400)
    added = np.deg2rad(1.0) / recording.rig.imu.scales.gyro_rad_s
    counts = stream.counts.copy()
    counts[middle, 3:] += round(added)
    return with_stream(recording, IMU_STREAM, dataclasses.replace(stream, counts=counts))


@pytest.mark.parametrize(
    ("key", "change"),
    [
        ("noise", add_noise),
        ("noise", lambda sound: add_noise(state_no_noise(sound))),
        ("zero_scatter", warm_up),
        ("zero_event", take_zero_while_pushing),
        ("home_shift", bump),
        ("heading_drift", turn_slowly_in_the_lift),
        ("recording_status", cut_off),
        ("lost_samples_force", lose_force),
        ("missing_time", lose_force),
        ("heading_unknown", lose_imu_twice),
        ("segments", come_back),
        ("saturated", saturate),
        ("spikes", spike),
        ("jitter_imu", shake_stamps),
        ("rate_force", run_slow),
        ("residual_force", lay_hand_on_later),
        ("gravity_at_rest", bend_accelerometer),
        ("home_tilt", slope_bench),
        ("imu_scale", other_scale),
        ("rig_identity", other_rig),
        ("rig_faults", report_faults),
        ("practice_events", garble_plan),
        ("calibration_age", old_calibration),
        ("calibration_range", small_calibration),
        ("damaged_frames", bad_line),
        ("dropped_by_rig_or_host", too_slow),
        ("reordered_samples", out_of_order),
        ("gyro_bias", biased_gyro),
    ],
)
def test_what_is_wrong_is_found_and_nothing_of_it_before(
    sound: Recording, key: str, change: Change
) -> None:
    assert findings(sound)[key].severity is Severity.FINE

    found = findings(change(sound))[key]

    assert found.severity is not Severity.FINE


def test_a_sound_recording_has_only_fine_findings(sound: Recording) -> None:
    assert {finding.severity for finding in analyse(sound).quality} == {Severity.FINE}


def test_a_calibration_without_a_range_is_noted(sound: Recording) -> None:
    """Nobody can say then whether the forces were within it; it need not spoil anything."""
    found = findings(with_rig(sound, "cell", calibrated_to_n=None))["calibration_range"]

    assert found.severity is Severity.NOTE
    assert found.limit == "not stated"
    assert "calibrated_to_n" in found.advice


def test_the_noise_is_held_against_that_of_the_calibration(sound: Recording) -> None:
    """The virtual cell has 0.08 N in each sample, so it is too loud for one that had 0.04 N."""
    quieter = with_rig(sound, "cell", noise_n=(0.08, 0.04, 0.08))

    fine, loud = findings(sound)["noise"], findings(quieter)["noise"]

    assert fine.limit == "0.120 N, 1.5 times the calibration's 0.08 N"
    assert float(fine.value.split()[0]) == pytest.approx(0.08, rel=0.1)
    assert loud.severity is Severity.WARNING
    assert loud.limit == "0.060 N, 1.5 times the calibration's 0.04 N"
    assert "y of the cell" in loud.value


@pytest.mark.parametrize("axes", [3, 6])
def test_the_noise_of_each_component_is_that_of_the_untouched_cell(told: Maker, axes: int) -> None:
    """Each channel gets noise of its own; the push and its tremor are not counted as noise."""
    recording = told(axes=axes, repetitions=1, seed=4, model=MODEL).recording
    stream = recording.streams[FORCE_STREAM]
    sds_n = np.array([0.05, 0.10, 0.02])
    matrix = np.array(recording.rig.cell.calibration_matrix)
    white = np.zeros(stream.counts.shape)
    white[:, :3] = np.random.default_rng(2).normal(0.0, sds_n, (len(white), 3))
    added = np.round(white @ np.linalg.inv(matrix).T).astype(np.int32)
    louder = with_stream(
        recording, FORCE_STREAM, dataclasses.replace(stream, counts=stream.counts + added)
    )
    wanted = tuple(np.hypot(sds_n, 0.08))

    found = findings(with_rig(louder, "cell", noise_n=wanted))["noise"]
    wrong = findings(with_rig(louder, "cell", noise_n=(*wanted[:2], wanted[2] / 2.0)))["noise"]

    worst = float(found.value.split()[0]) / wanted["xyz".index(found.value.split(", ")[2][0])]
    assert worst == pytest.approx(1.0, abs=0.1)
    assert "z of the cell" in wrong.value


def test_where_no_noise_is_stated_the_limit_says_so(sound: Recording) -> None:
    found = findings(with_rig(sound, "cell", noise_n=None))["noise"]

    assert found.severity is Severity.FINE
    assert found.limit == "0.1 N, as the calibration states none (cell.noise_n)"


@pytest.mark.parametrize(
    ("name", "keep", "said"),
    [
        (FORCE_STREAM, slice(None, -100), "none"),
        (FORCE_STREAM, slice(None, -600), "force for 3.0 s"),
        (IMU_STREAM, slice(500, None), "imu for 2.5 s"),
    ],
)
def test_a_stream_that_ends_or_begins_far_from_the_others_was_silent(
    sound: Recording, name: str, keep: slice, said: str
) -> None:
    cut = with_stream(sound, name, rows(sound.streams[name], keep))

    (found,) = silent(Unresolved(cut))

    assert found.value == said
    assert found.severity is (Severity.FINE if said == "none" else Severity.WARNING)


def test_a_stream_that_pauses_and_goes_on_with_its_numbers_was_silent(sound: Recording) -> None:
    stream = sound.streams[FORCE_STREAM]
    there = rows(stream, np.r_[0:1000, 1400 : len(stream.counts)])
    numbers = np.arange(len(there.counts))
    paused = with_stream(sound, FORCE_STREAM, dataclasses.replace(there, sample_number=numbers))

    (found,) = silent(Unresolved(paused))

    assert found.value == "force for 2.0 s"
    assert found.severity is Severity.WARNING


def hang(stream: StreamData, start: int, stop: int) -> StreamData:
    counts = stream.counts.copy()
    counts[start:stop] = counts[start]
    return dataclasses.replace(stream, counts=counts)


@pytest.mark.parametrize(
    ("samples", "severity"), [(90, Severity.FINE), (110, Severity.WARNING)], ids=["short", "long"]
)
def test_counts_that_repeat_themselves_for_half_a_second_are_a_sensor_that_hangs(
    sound: Recording, samples: int, severity: Severity
) -> None:
    recording = with_stream(
        sound, IMU_STREAM, hang(sound.streams[IMU_STREAM], 1000, 1000 + samples)
    )

    (found,) = (one for one in stuck(Unresolved(recording)) if one.key == "stuck_imu")

    assert found.severity is severity
    assert found.value == f"the same counts for {(samples - 1) * 5} ms at most"


def test_one_channel_that_never_moves_is_dead(sound: Recording) -> None:
    stream = sound.streams[IMU_STREAM]
    counts = stream.counts.copy()
    counts[:, 4] = 0
    dead = with_stream(sound, IMU_STREAM, dataclasses.replace(stream, counts=counts))

    found = {one.key: one for one in stuck(Unresolved(dead))}

    assert found["stuck_force"].severity is Severity.FINE
    assert found["stuck_imu"].severity is Severity.WARNING
    assert found["stuck_imu"].value.endswith(f", never another of {stream.spec.channels[4].name}")


@pytest.mark.parametrize(
    ("share", "severity"), [(0.995, Severity.FINE), (0.95, Severity.NOTE), (0.8, Severity.WARNING)]
)
def test_a_rate_far_from_what_the_rig_tells_is_a_fault(
    sound: Recording, share: float, severity: Severity
) -> None:
    stream = sound.streams[FORCE_STREAM]
    first = stream.device_time_us[0]
    times = first + np.rint((stream.device_time_us - first) / share).astype(np.int64)
    slow = dataclasses.replace(stream, device_time_us=times)

    (found,) = (
        one
        for one in rate(Unresolved(with_stream(sound, FORCE_STREAM, slow)))
        if one.key == "rate_force"
    )

    assert found.severity is severity
    assert found.limit == "200 Hz ± 10000 ppm, a fault beyond 100000 ppm"


def test_a_second_cell_that_is_described_must_be_heard(told: Maker) -> None:
    recording = told(stabiliser=True, repetitions=1, seed=4, model=MODEL).recording
    silent = {k: v for k, v in recording.streams.items() if k != "stabiliser"}

    heard = findings(recording)["stabiliser_cell"]
    missed = findings(dataclasses.replace(recording, streams=silent))["stabiliser_cell"]

    assert heard.severity is Severity.FINE
    assert missed.severity is Severity.WARNING


def test_every_finding_says_what_to_do_in_a_sentence(sound: Recording) -> None:
    for finding in analyse(sound).quality:
        assert finding.value
        assert finding.advice.endswith(".")
        assert len(finding.advice) > 20


def test_keys_are_unique_and_the_worst_comes_first(sound: Recording) -> None:
    quality = analyse(lose_force(other_rig(sound))).quality

    keys = [finding.key for finding in quality]
    order = [Severity.WARNING, Severity.NOTE, Severity.FINE]
    ranks = [order.index(finding.severity) for finding in quality]
    assert len(set(keys)) == len(keys) >= len(CHECKS) - 1  # one is for rigs with a second cell
    assert ranks == sorted(ranks)
    assert ranks[0] == 0


@pytest.mark.parametrize(
    ("fault", "said", "advice"),
    [
        (Fault(1, FaultCode.BRIDGE_OPEN, 1, "Bridge open"), "bridge open, force", "cable"),
        (Fault(1, FaultCode.CONVERTER_SATURATED, 1, "fx"), "saturated, force (fx)", "Press less"),
        (Fault(1, FaultCode.IMU_SILENT, 9, ""), "IMU not answering, stream 9", "of the IMU"),
        (Fault(1, FaultCode.BUFFER_OVERRUN, NO_STREAM, ""), "buffer overrun", "faster port"),
        (Fault(1, FaultCode(9), NO_STREAM, "hot"), "fault 9 (hot)", "newer than this program"),
    ],
)
def test_what_the_rig_reports_of_itself_is_told_in_words_and_counted(
    sound: Recording, fault: Fault, said: str, advice: str
) -> None:
    (once,) = faults(Unresolved(dataclasses.replace(sound, faults=(fault,))))
    (thrice,) = faults(Unresolved(dataclasses.replace(sound, faults=(fault, fault, fault))))

    assert once.severity is Severity.WARNING
    assert said in once.value
    assert thrice.value == f"{once.value} ×3"
    assert advice in once.advice


def test_what_needs_nothing_resolved_is_told_without(sound: Recording) -> None:
    spoilt = bad_line(lose_force(other_rig(sound)))

    bare, whole = assess_unresolved(spoilt), analyse(spoilt).quality

    keys = {one.key for one in bare}
    assert {"rig_identity", "rig_faults", "lost_samples_force", "damaged_frames"} < keys
    assert list(bare) == [one for one in whole if one.key in keys]


def test_losses_are_counted_within_segments_only(sound: Recording) -> None:
    stream = lose_force(sound).streams[FORCE_STREAM]

    assert losses(stream) == (400, 2.0)
    behind = (stream.sample_number >= 3400).astype(np.int64)
    assert losses(dataclasses.replace(stream, segment=behind)) == (0, 0.0)


def test_the_effective_rate_is_that_of_the_whole_not_of_the_first_two(sound: Recording) -> None:
    stream = sound.streams[FORCE_STREAM]
    times = stream.device_time_us.copy()
    times[1] += 2000

    rate = effective_rate_hz(dataclasses.replace(stream, device_time_us=times))

    assert rate == pytest.approx(200.0, rel=1e-6)
    assert effective_rate_hz(rows(stream, slice(0, 1))) is None
