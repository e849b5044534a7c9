"""Rig descriptions: read, checked, and wrong in one line that names the key."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from acquisition.errors import DescriptionError
from acquisition.rig import RigDescription, load_rig, rig_from_json, rig_from_toml

GOOD = """
[rig]
id = "RIG-01"
side = "left"

[cell]
axes = 3
to_humerus = [[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]]
calibration_matrix = [[0.01, 0.0, 0.0], [0.0, 0.01, 0.0], [0.0, 0.0, 0.01]]
calibrated_on = 2026-03-02

[imu]
to_humerus = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]
lever_m = [0.0, -0.12, 0.03]
[imu.scales]
accel_m_s2 = 0.0006
gyro_rad_s = 0.0005

[shell]
mass_kg = 0.32
com_m = [0.0, -0.02, 0.0]

[head]
centre_m = [0.0, 0.0, 0.0]
radius_m = 0.025
"""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "rig.toml"
    path.write_text(GOOD, encoding="utf-8")
    return path


def test_a_description_is_read_with_its_defaults(path: Path) -> None:
    rig = load_rig(path)

    assert (rig.rig.id, rig.rig.side, rig.cell.axes) == ("RIG-01", "left", 3)
    assert rig.cell.to_humerus[0] == (0.0, 0.0, 1.0)
    assert rig.cell.calibrated_on == date(2026, 3, 2)
    assert rig.cell.zero_counts == ()
    assert rig.home.vertical_in_base == (0.0, 1.0, 0.0)
    assert rig.imu.scales.gyro_rad_s == 0.0005


def test_the_noise_of_the_calibration_is_read_and_kept(path: Path) -> None:
    path.write_text(GOOD.replace("axes = 3", "axes = 3\nnoise_n = [0.05, 0.06, 0.07]"))

    rig = load_rig(path)

    assert rig.cell.noise_n == (0.05, 0.06, 0.07)
    assert rig_from_toml(rig.to_toml(), where="test") == rig


def test_a_covariance_of_the_calibration_is_read_and_kept(path: Path) -> None:
    """A direction without any variance is none the worse."""
    rows = "[[0.04, 0.02, 0.0], [0.02, 0.01, 0.0], [0.0, 0.0, 0.09]]"
    new = f"axes = 3\nforce_covariance_n2 = {rows}\nforce_relative_u = 0.005"
    path.write_text(GOOD.replace("axes = 3", new))

    rig = load_rig(path)

    assert rig.cell.force_covariance_n2 is not None
    assert rig.cell.force_covariance_n2[0] == (0.04, 0.02, 0.0)
    assert rig.cell.force_relative_u == 0.005
    assert rig_from_toml(rig.to_toml(), where="test") == rig
    assert rig_from_json(rig.to_json(), where="test") == rig


def test_json_and_back_changes_nothing(path: Path) -> None:
    rig = load_rig(path)

    text = rig.to_json()

    assert rig_from_json(text, where="test") == rig
    assert rig_from_json(text, where="test").to_json() == text


@pytest.mark.parametrize(
    ("old", "new", "what"),
    [
        ('side = "left"', 'side = "middle"', "$.rig.side"),
        ('side = "left"', 'sides = "left"', "unknown field `sides`"),
        ('side = "left"\n', "", "missing required field `side`"),
        ('id = "RIG-01"', 'id = "../x"', "rig.id is '../x'; a serial is 1 to 32 of the letters"),
        ("axes = 3", "axes = 4", "$.cell.axes"),
        ("axes = 3", "axes = 6", "cell.calibration_matrix must be 6 rows of 6 numbers"),
        ("[-1.0, 0.0, 0.0]]", "[1.0, 0.0, 0.0]]", "cell.to_humerus is no rotation"),
        ("[0.0, 0.0, 1.0], [0.0, 1", "[0.0, 0.0, 1.1], [0.0, 1", "to_humerus is no rotation"),
        ("[[0.01, 0.0, 0.0]", "[[0.0, 0.0, 0.0]", "cannot be inverted"),
        (
            "[[0.01, 0.0, 0.0]",
            "[[nan, 0.0, 0.0]",
            "finite number - at `$.cell.calibration_matrix[0][0]`",
        ),
        ("[[0.01, 0.0, 0.0]", "[[0.01, 0.0]", "3 rows of 3 numbers"),
        ("axes = 3", "axes = 3\nzero_counts = [1.0]", "zero_counts needs 3 numbers"),
        ("axes = 3", "axes = 3\nnoise_n = [0.1, 0.1]", "$.cell.noise_n"),
        ("axes = 3", "axes = 3\nnoise_n = [0.1, 0.0, 0.1]", "$.cell.noise_n[1]"),
        (
            "axes = 3",
            "axes = 3\nforce_covariance_n2 = [[1.0, 0.2, 0.0], [0.1, 1.0, 0.0], [0.0, 0.0, 1.0]]",
            "cell.force_covariance_n2 is no covariance: row i, column j",
        ),
        (
            "axes = 3",
            "axes = 3\nforce_covariance_n2 = [[1.0, 2.0, 0.0], [2.0, 1.0, 0.0], [0.0, 0.0, 1.0]]",
            "its variance is negative",
        ),
        ("axes = 3", "axes = 3\nforce_covariance_n2 = [[1.0]]", "$.cell.force_covariance_n2"),
        ("axes = 3", "axes = 3\nforce_relative_u = -0.1", "$.cell.force_relative_u"),
        ("axes = 3", "axes = 3\nforce_relative_u = 1.0", "$.cell.force_relative_u"),
        ("accel_m_s2 = 0.0006", "accel_m_s2 = 0.0", "$.imu.scales.accel_m_s2"),
        ("mass_kg = 0.32", "mass_kg = -1.0", "$.shell.mass_kg"),
        ("mass_kg = 0.32", 'mass_kg = "heavy"', "$.shell.mass_kg"),
        ("radius_m = 0.025", "radius_m = 0", "$.head.radius_m"),
        ("[head]", "[home]\nvertical_in_base = [0.0, 2.0, 0.0]\n[head]", "length 1"),
        ("[head]", "[tail]", "unknown field `tail`"),
        ("[rig]", "[rig", "is not valid TOML"),
    ],
)
def test_a_wrong_description_is_told_in_one_line_with_file_and_key(
    path: Path, old: str, new: str, what: str
) -> None:
    assert old in GOOD
    path.write_text(GOOD.replace(old, new, 1), encoding="utf-8")

    with pytest.raises(DescriptionError) as raised:
        load_rig(path)

    assert str(raised.value).startswith(str(path))
    assert what in str(raised.value)
    assert "\n" not in str(raised.value)


def test_three_digits_of_a_rotation_are_enough(path: Path) -> None:
    text = GOOD.replace(
        "to_humerus = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]",
        "to_humerus = [[0.866, -0.5, 0.0], [0.5, 0.866, 0.0]",
    )
    path.write_text(text, encoding="utf-8")

    assert load_rig(path).imu.to_humerus[0] == (0.866, -0.5, 0.0)


@pytest.mark.parametrize("text", ["", "{", "[]", "{}", '{"rig": 1}'])
def test_json_that_is_no_description_is_told(text: str) -> None:
    with pytest.raises(DescriptionError, match=r"^x\.h5: "):
        rig_from_json(text, where="x.h5")


@pytest.mark.parametrize("bad", ["nan", "inf", "-inf"])
def test_numbers_that_are_not_finite_have_no_place(path: Path, bad: str) -> None:
    path.write_text(GOOD.replace("lever_m = [0.0,", f"lever_m = [{bad},"), encoding="utf-8")

    with pytest.raises(DescriptionError, match=r"finite number - at `\$\.imu\.lever_m\[0\]`"):
        load_rig(path)


def test_a_rotation_of_nan_is_no_rotation(rig: RigDescription) -> None:
    text = rig.to_json().replace("[[1.0, 0.0, 0.0]", "[[NaN, 0.0, 0.0]", 2)

    with pytest.raises(DescriptionError, match="finite number"):
        rig_from_json(text, where="x.h5")
