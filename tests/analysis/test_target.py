"""The target: its direction against worked numbers, and what a wrong file is told."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from analysis.errors import TargetError
from analysis.target import Target, load_target, target_from_json

# Normal of a scapular plane θ in front of the frontal plane, tilted down by φ; worked by hand
# from the ISB axes (Wu et al. 2005: X anterior, Y superior, Z right).
WORKED = {
    (30.0, 0.0): (-0.8660254038, 0.0, 0.5),
    (30.0, 5.0): (-0.8627299157, -0.0871557427, 0.4980973490),
    (30.0, 10.0): (-0.8528685320, -0.1736481777, 0.4924038765),
}


@pytest.mark.parametrize(("angles", "expected"), WORKED.items())
def test_direction_points_backward_outward_and_down(
    angles: tuple[float, float], expected: tuple[float, float, float]
) -> None:
    azimuth, tilt = angles

    found = Target(glide_azimuth_deg=azimuth, inferior_tilt_deg=tilt).direction

    np.testing.assert_allclose(found, expected, atol=1e-10)


def test_without_tilt_it_is_the_normal_of_the_scapular_plane() -> None:
    lateral_in_plane = np.array([np.sin(np.pi / 6), 0.0, np.cos(np.pi / 6)])

    direction = Target(inferior_tilt_deg=0.0).direction

    assert direction @ lateral_in_plane == pytest.approx(0.0, abs=1e-15)
    assert direction @ [0.0, 1.0, 0.0] == 0.0


def test_a_file_changes_only_what_it_names(tmp_path: Path) -> None:
    path = tmp_path / "target.toml"
    path.write_text("glide_azimuth_deg = 35\n[force_band]\nlow_n = 15.0\nhigh_n = 40.0\n")

    target = load_target(path)

    assert target.glide_azimuth_deg == 35.0
    assert target.force_band.high_n == 40.0
    assert target.cone_deg == Target().cone_deg


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("glide_azimut_deg = 30", "glide_azimut_deg"),
        ("cone_deg = -1", "cone_deg"),
        ('cone_deg = "wide"', "cone_deg"),
        ("[force_band]\nlow_n = 50.0\nhigh_n = 40.0", "force_band.low_n must lie below"),
        ("cone_deg = ", "not valid TOML"),
    ],
)
def test_a_wrong_file_is_told_in_one_line_what_and_where(
    tmp_path: Path, text: str, told: str
) -> None:
    path = tmp_path / "target.toml"
    path.write_text(text)

    with pytest.raises(TargetError) as caught:
        load_target(path)

    message = str(caught.value)
    assert told in message
    assert str(path) in message
    assert "\n" not in message


def test_a_missing_file_says_so(tmp_path: Path) -> None:
    with pytest.raises(TargetError, match="no such file"):
        load_target(tmp_path / "none.toml")


def test_json_gives_the_same_target_back() -> None:
    target = Target(cone_deg=7.5, superior_limit_deg=0.0)

    assert target_from_json(target.to_json(), where="test") == target
    assert target_from_json("", where="test") == Target()


def test_json_that_is_no_target_is_refused() -> None:
    with pytest.raises(TargetError, match="not JSON"):
        target_from_json("{", where="some.h5")


def test_the_shipped_file_holds_the_defaults() -> None:
    import analysis

    shipped = Path(str(analysis.__file__)).with_name("target_default.toml")

    assert load_target(shipped) == Target()
