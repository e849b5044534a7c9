"""A target that follows the scapula, against rotations composed by scipy and against landmarks.

The order of a scapula's rotations against the thorax, Y-X-Z, their signs on a right shoulder and
the axes from AA, TS and AI are those of the ISB (Wu et al. 2005, J Biomech 38:981). Here upward
rotation is negative about X, external rotation negative about Y, posterior tilt positive about Z.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from analysis.errors import TargetError
from analysis.scapula import ScapularRhythm, WayFollower
from analysis.target import Aim, Target, load_target, target_from_json

Floats = NDArray[np.float64]


def by_rotations(target: Target, upward_deg: float) -> Floats:
    """Return the target carried by Ry(θ − x)·Rx(−u)·Rz(t)·Ry(−θ), composed by scipy."""
    rhythm, facing = target.scapula, target.glide_azimuth_deg
    assert rhythm is not None
    tilt = rhythm.posterior_tilt_per_upward * upward_deg
    external = rhythm.external_rotation_per_upward * upward_deg
    turned = Rotation.from_euler("YXZ", [facing - external, -upward_deg, tilt], degrees=True)
    at_home = Rotation.from_euler("Y", facing, degrees=True)
    return np.asarray((turned * at_home.inv()).apply(target.direction))


@given(
    upward_deg=st.floats(0.0, 60.0),
    azimuth=st.floats(-30.0, 60.0),
    inferior=st.floats(-20.0, 20.0),
    tilt=st.floats(-1.0, 1.0),
    external=st.floats(-1.0, 1.0),
)
def test_it_is_carried_by_the_rotations_of_the_scapula(
    upward_deg: float, azimuth: float, inferior: float, tilt: float, external: float
) -> None:
    rhythm = ScapularRhythm(posterior_tilt_per_upward=tilt, external_rotation_per_upward=external)
    target = Target(glide_azimuth_deg=azimuth, inferior_tilt_deg=inferior, scapula=rhythm)

    # 3.3 degrees of raising are one of upward rotation.
    (found,) = target.directions(np.deg2rad([3.3 * upward_deg]), np.zeros(1))

    assert found == pytest.approx(by_rotations(target, upward_deg), abs=1e-12)
    assert np.linalg.norm(found) == pytest.approx(1.0, abs=1e-12)


def axes_of(aa: Floats, ts: Floats, ai: Floats) -> Floats:
    """Return the scapula's axes as columns, from its landmarks: Wu et al. 2005, section 2.3.3."""
    z = (aa - ts) / np.linalg.norm(aa - ts)
    x = np.cross(aa - ai, ts - ai)
    x *= np.sign(x[0]) / np.linalg.norm(x)
    return np.stack([x, np.cross(z, x), z], axis=1)


def test_it_stays_at_right_angles_to_a_scapula_whose_landmarks_turn() -> None:
    """With no inferior tilt of its own the target is the blade's normal, wherever that goes.

    The blade is a triangle 40° in front of the frontal plane, turned about the axes that it has:
    outward about the vertical, then upward about its normal, then back about its spine.
    """
    rhythm = ScapularRhythm(posterior_tilt_per_upward=0.6, external_rotation_per_upward=0.48)
    target = Target(glide_azimuth_deg=40.0, inferior_tilt_deg=0.0, scapula=rhythm)
    facing = np.deg2rad(40.0)
    lateral = np.array([np.sin(facing), 0.0, np.cos(facing)])
    blade = np.array([0.1 * lateral, 0.0 * lateral, [0.0, -0.12, 0.0]])
    normal_at_home = -axes_of(*blade)[:, 0]

    for upward_deg in (10.0, 30.0, 50.0):
        outward = Rotation.from_rotvec(np.deg2rad(-0.48 * upward_deg) * np.array([0.0, 1.0, 0.0]))
        front, spine = outward.apply(-normal_at_home), outward.apply(lateral)
        upward = Rotation.from_rotvec(np.deg2rad(-upward_deg) * front)
        spine = upward.apply(spine)
        back = Rotation.from_rotvec(np.deg2rad(0.6 * upward_deg) * spine)
        turned = axes_of(*(back * upward * outward).apply(blade))

        (found,) = target.directions(np.deg2rad([3.3 * upward_deg]), np.zeros(1))

        assert found == pytest.approx(-turned[:, 0], abs=1e-12)


@pytest.mark.parametrize(
    ("lowering", "upward_deg"),
    [(0.0, 120.0 / 3.3), (1.0, 120.0 / 3.7)],
    ids=["raising 2.3 to 1", "lowering 2.7 to 1"],
)
def test_of_an_elevation_the_scapula_has_its_published_share(
    lowering: float, upward_deg: float
) -> None:
    """Braman et al. 2009: 0.43° of the scapula for a glenohumeral degree up, 0.37° down."""
    found = ScapularRhythm().upward_rotation_rad(np.deg2rad([120.0]), np.array([lowering]))

    assert np.rad2deg(found[0]) == pytest.approx(upward_deg)
    glenohumeral = 120.0 - np.rad2deg(found[0])
    published = 0.37 if lowering else 0.43
    assert np.rad2deg(found[0]) / glenohumeral == pytest.approx(published, abs=0.005)


def test_the_rhythm_of_bone_pins_is_met() -> None:
    """Ludewig et al. 2009, scapular plane, 30° to 120°: 62.7° and 28.0°, a rhythm of 2.24."""
    rhythm = ScapularRhythm(rhythm_raising=62.7 / 28.0)

    low, high = rhythm.upward_rotation_rad(np.deg2rad([30.0, 120.7]), np.zeros(2))

    assert np.rad2deg(high - low) == pytest.approx(28.0, abs=0.05)


def test_the_way_from_raising_to_lowering_is_walked_and_not_jumped() -> None:
    up, down = np.linspace(0, 150, 151), np.linspace(150, 0, 151)

    share = WayFollower(ScapularRhythm()).feed(np.deg2rad(np.concatenate([up, down, up])))

    assert (share[:151] == 0.0).all()
    expected = np.clip((150.0 - down) / 30.0, 0.0, 1.0)
    assert share[151:302] == pytest.approx(expected, abs=1e-12)
    assert share[302:] == pytest.approx(np.clip(1.0 - up / 30.0, 0.0, 1.0), abs=1e-9)


def test_a_tremble_at_the_top_does_not_move_it() -> None:
    """Half a degree to and fro: the share moves by a sixtieth and comes back."""
    tremble = 150.0 - 0.25 * (1.0 - np.cos(np.linspace(0, 40 * np.pi, 2000)))
    way = WayFollower(ScapularRhythm())
    way.feed(np.deg2rad(np.linspace(0, 150, 300)))

    share = way.feed(np.deg2rad(tremble))

    assert share.max() <= 0.5 / 30.0 + 1e-9
    assert share[-1] == pytest.approx(0.0, abs=1e-9)


@settings(max_examples=40)
@given(cuts=st.lists(st.integers(0, 600), max_size=12), gap=st.integers(0, 500))
def test_cutting_into_blocks_and_gaps_change_nothing(cuts: list[int], gap: int) -> None:
    arc = 75.0 - 75.0 * np.cos(np.linspace(0, 4 * np.pi, 600))
    arc[gap : gap + 60] = np.nan
    target = Target(scapula=ScapularRhythm())
    whole, parts = Aim(target), Aim(target)

    at_once = whole(np.deg2rad(arc))
    edges = [0, *sorted(cuts), 600]
    pieces = [parts(np.deg2rad(arc[a:b])) for a, b in pairwise(edges)]

    assert at_once is not None
    assert np.isnan(at_once[gap : gap + 60]).all()
    np.testing.assert_array_equal(at_once, np.concatenate([p for p in pieces if p is not None]))


def test_it_stands_still_unless_asked() -> None:
    assert Aim(Target())(np.deg2rad([10.0, 90.0])) is None
    still = Target().directions(np.deg2rad([0.0, 150.0]), np.ones(2))
    assert (still == Target().direction).all()


def test_at_home_it_is_the_one_that_stands_still() -> None:
    moving = Target(scapula=ScapularRhythm())

    (found,) = moving.directions(np.zeros(1), np.ones(1))

    assert found == pytest.approx(Target().direction, abs=1e-15)


def test_a_file_asks_for_it_and_a_recording_keeps_it(tmp_path: Path) -> None:
    path = tmp_path / "target.toml"
    path.write_text("glide_azimuth_deg = 35.0\n[scapula]\nrhythm_raising = 2.0\n", encoding="utf-8")

    target = load_target(path)

    assert target.scapula == ScapularRhythm(rhythm_raising=2.0)
    assert target_from_json(target.to_json(), where="here") == target


def test_a_rhythm_that_cannot_be_is_refused() -> None:
    with pytest.raises(TargetError, match=r"scapula.rhythm_raising"):
        target_from_json('{"scapula": {"rhythm_raising": 0.0}}', where="here")
