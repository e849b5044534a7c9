"""CSV logs of other systems: what is written is what the log says, and bad lines are named."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from acquisition.bring_in import bring_in
from acquisition.clock import ManualClock
from acquisition.csv_log import columns_for, parse_mapping
from acquisition.errors import RecordingError
from acquisition.physical import PhysicalUnits
from acquisition.recording.model import TrialLabel
from acquisition.recording.reader import read_recording
from acquisition.rig import RigDescription

HEAD = ",".join(columns_for(3))
LINES = 30


def lines(count: int = LINES, spacing_s: float = 0.01) -> list[str]:
    return [f"{n * spacing_s:.6f},{n},-2.5,40,0,9.81,0.5,0.1,-0.2,0.003" for n in range(count)]


def write(path: Path, rows: list[str], head: str = HEAD) -> Path:
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return path


def test_values_come_out_of_the_recording_as_they_stand_in_the_log(
    tmp_path: Path, rig: RigDescription
) -> None:
    log = write(tmp_path / "log.csv", lines())
    label = TrialLabel("T07", "retention", "x")

    done = bring_in(log, tmp_path / "r.h5", rig=rig, clock=ManualClock(), label=label)

    recording = read_recording(done.path)
    units = PhysicalUnits(recording.rig)
    force, imu = recording.streams["force"], recording.streams["imu"]
    wrench, felt = units.wrench(force.counts, force.spec), units.inertial(imu.counts, imu.spec)
    assert np.allclose(wrench.force_n, [[n, -2.5, 40] for n in range(LINES)], atol=6e-6)
    assert np.allclose(felt.specific_force_m_s2, [0, 9.81, 0.5], atol=6e-7)
    assert np.allclose(felt.angular_rate_rad_s, [0.1, -0.2, 0.003], atol=6e-8)
    assert force.device_time_us.tolist() == [n * 10_000 for n in range(LINES)]
    assert not wrench.saturated.any()
    assert (recording.label, recording.status) == (label, "complete")
    assert recording.rig.shell == rig.shell
    assert done.rate_hz == pytest.approx(100.0)
    assert recording.events[0].text.startswith(f"brought in from a CSV log of {LINES} lines, sha")


def test_missing_lines_are_a_jump_of_the_numbers_and_counted(
    tmp_path: Path, rig: RigDescription
) -> None:
    rows = lines()
    log = write(tmp_path / "log.csv", rows[:10] + rows[14:20] + rows[21:])

    done = bring_in(log, tmp_path / "r.h5", rig=rig, clock=ManualClock())

    recording = read_recording(done.path)
    expected = [*range(10), *range(14, 20), *range(21, LINES)]
    assert recording.streams["force"].sample_number.tolist() == expected
    assert (done.gaps, done.missing_samples) == (2, 5)
    assert recording.counts.lost_samples == 10  # of both streams


def test_comments_empty_lines_other_columns_and_separators_are_fine(
    tmp_path: Path, rig: RigDescription
) -> None:
    rows = [f"{row.replace(',', ';')};spare" for row in lines()]
    rows[5:5] = ["# paused here", "", "   ", "  # and here"]
    log = tmp_path / "log.csv"
    head = HEAD.replace(",", ";") + ";trigger"
    log.write_text("\ufeff# by some logger\n\n" + "\n".join([head, *rows]), encoding="utf-8")

    assert bring_in(log, tmp_path / "r.h5", rig=rig, clock=ManualClock()).samples == LINES


def test_names_units_and_signs_can_be_mapped(tmp_path: Path, rig: RigDescription) -> None:
    head = HEAD.replace("fx_n", "Force_X").replace("ay_m_s2", "up: raw").replace("time_s", "t")
    log = write(tmp_path / "log.csv", lines(spacing_s=10.0), head)
    mapping = ["fx_n=-Force_X:kgf", "ay_m_s2=up: raw:g", "time_s=t:ms", "gx_rad_s=gx_rad_s:deg/s"]

    done = bring_in(log, tmp_path / "r.h5", rig=rig, clock=ManualClock(), mapping=mapping)

    recording = read_recording(done.path)
    units = PhysicalUnits(recording.rig)
    force, imu = recording.streams["force"], recording.streams["imu"]
    felt = units.inertial(imu.counts, imu.spec)
    assert units.wrench(force.counts, force.spec).force_n[7, 0] == pytest.approx(-7 * 9.80665)
    assert felt.specific_force_m_s2[0, 1] == pytest.approx(9.81 * 9.80665)
    assert felt.angular_rate_rad_s[0, 0] == pytest.approx(np.deg2rad(0.1), abs=1e-7)
    assert done.rate_hz == pytest.approx(100.0)


def with_decimal_comma() -> list[str]:
    return [row.replace(",", ";").replace(".", ",") for row in lines()]


def test_numbers_may_have_a_decimal_comma_where_none_stands_between_them(
    tmp_path: Path, rig: RigDescription
) -> None:
    plain = bring_in(
        write(tmp_path / "a.csv", lines()), tmp_path / "a.h5", rig=rig, clock=ManualClock()
    )
    log = write(tmp_path / "b.csv", with_decimal_comma(), HEAD.replace(",", ";"))

    done = bring_in(log, tmp_path / "b.h5", rig=rig, clock=ManualClock())

    a, b = read_recording(plain.path).streams, read_recording(done.path).streams
    for name, stream in a.items():
        assert np.array_equal(b[name].counts, stream.counts)
        assert np.array_equal(b[name].device_time_us, stream.device_time_us)


@pytest.mark.parametrize(("place", "text"), [(6, "9.81"), (3, "1.040,5")])
def test_two_kinds_of_decimal_mark_are_not_guessed_at(
    tmp_path: Path, rig: RigDescription, place: int, text: str
) -> None:
    rows = with_decimal_comma()
    cells = rows[4].split(";")
    rows[4] = ";".join([*cells[:place], text, *cells[place + 1 :]])
    log = write(tmp_path / "b.csv", rows, HEAD.replace(",", ";"))

    with pytest.raises(RecordingError, match=r"line 6: .* numbers before have a decimal ','"):
        bring_in(log, tmp_path / "b.h5", rig=rig, clock=ManualClock())


def test_times_of_few_digits_do_not_change_the_rate(tmp_path: Path, rig: RigDescription) -> None:
    """Seconds since 1970 as a float tell 2 parts in 10 million of a second."""
    rows = [f"{1.7e9 + k * 0.005!r},{row.partition(',')[2]}" for k, row in enumerate(lines())]
    gap = [f"{1.7e9 + 5000 + k * 0.005!r},{row.partition(',')[2]}" for k, row in enumerate(lines())]

    done = bring_in(
        write(tmp_path / "a.csv", rows + gap), tmp_path / "a.h5", rig=rig, clock=ManualClock()
    )

    assert done.rate_hz == pytest.approx(200.0, abs=0.001)
    assert done.missing_samples == pytest.approx(1_000_000 - LINES, abs=5)


def changed(row: int, old: str, new: str) -> list[str]:
    rows = lines()
    rows[row] = rows[row].replace(old, new, 1)
    return rows


@pytest.mark.parametrize(
    ("head", "rows", "what"),
    [
        (HEAD, changed(3, "40", "abc"), "line 5: fz_n 'abc' is no number; "),
        (HEAD, changed(3, ",40,", ",,"), "line 5: fz_n is empty; a line left out"),
        (HEAD, changed(3, "40", "nan"), "line 5: fz_n 'nan' is no number"),
        (HEAD, changed(3, "40", "inf"), "line 5: fz_n 'inf' is no number"),
        (HEAD, changed(3, "40", "4_0"), "line 5: fz_n '4_0' is no number"),
        (HEAD, changed(3, ",40", ""), "line 5: has 9 values, line 1 names 10 columns"),
        (HEAD, changed(3, "0.03", "0.01"), "line 5: time 0.010000 s does not come after 0.020000"),
        (HEAD, changed(3, "40", "40000"), "line 5: fz_n = 40000 cannot be; check its unit"),
        (HEAD.replace("fy_n", "FY"), lines(), "line 1: column 'fy_n' is missing; found time_s,"),
        (HEAD.replace("fy_n", "fx_n"), lines(), "line 1: column 'fx_n' is there twice"),
        (HEAD, changed(3, "40", '"' + "4" * 200_000), "is no CSV text"),
        (HEAD, lines(5), "has 5 lines of data"),
        (HEAD, lines(30, 1e6), "lasts 2.9e+07 s by its times; give their unit"),
        ("", [], "is empty; its first line must name the columns"),
    ],
)
def test_what_is_wrong_is_said_with_its_line(
    tmp_path: Path, rig: RigDescription, head: str, rows: list[str], what: str
) -> None:
    log = write(tmp_path / "log.csv", rows, head)

    with pytest.raises(RecordingError, match=re.escape(f"{log}: {what}")) as raised:
        bring_in(log, tmp_path / "r.h5", rig=rig, clock=ManualClock())

    assert "\n" not in str(raised.value)
    assert [path.name for path in tmp_path.iterdir()] == ["log.csv"]


def test_what_is_no_text_or_not_there_is_said(tmp_path: Path, rig: RigDescription) -> None:
    (tmp_path / "x.csv").write_bytes(b"\xff\xfe\x00")

    for name, what in (("x.csv", "is not UTF-8 text"), ("y.csv", "cannot be read"), ("", "read")):
        with pytest.raises(RecordingError, match=what):
            bring_in(tmp_path / name, tmp_path / "r.h5", rig=rig, clock=ManualClock())


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("fx_n", "write it like fx_n=Force_X:kN"),
        ("fx_n=", "write it like"),
        ("mx_nm=Mx", "there is no 'mx_nm'; one of time_s, fx_n"),
        ("fx_n=F:pound", "unit 'pound' is none of N, kN, mN, kgf, lbf"),
    ],
)
def test_a_mapping_that_makes_no_sense_is_said(text: str, what: str) -> None:
    with pytest.raises(RecordingError, match=re.escape(what)):
        parse_mapping([text], axes=3)
