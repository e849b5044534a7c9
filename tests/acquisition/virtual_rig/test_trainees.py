from __future__ import annotations

from pathlib import Path

import pytest

from acquisition.errors import DescriptionError
from acquisition.virtual_rig import TRAINEES, trainee
from acquisition.virtual_rig.trainees import blend, load_trainees


def load(tmp_path: Path, text: str) -> None:
    path = tmp_path / "people.toml"
    path.write_text(text, encoding="utf-8")
    load_trainees(path)


def test_six_experts_and_trainees_with_one_named_fault_each_ship() -> None:
    experts = [person for code, person in TRAINEES.items() if code.startswith("E")]
    trainees = [person for code, person in TRAINEES.items() if code.startswith("T")]

    assert {person.fault for person in experts} == {"none"}
    assert len(experts) == 6
    assert len({person.fault for person in trainees}) == len(trainees) >= 8


def test_people_differ_from_a_steady_hand_in_what_their_fault_says() -> None:
    assert trainee("T01").hand.superior_drift_deg_per_10deg > 0.5
    assert trainee("T02").hand.azimuth_deg < 10
    assert trainee("T03").hand.release_elevation_deg > 20
    assert trainee("T04").arm.raise_deg_s > 40
    assert trainee("T05").hand.tremble_n > 3
    assert trainee("T06").hand.force_n < 10
    assert trainee("T07").hand.full_force_s > 2


def test_an_expert_moves_slowly_even_at_the_peak_of_the_fastest_repetition() -> None:
    """30 °/s is the usual limit of the target; a minimum-jerk peak is 1.875 times the mean."""
    for person in (one for one in TRAINEES.values() if one.fault == "none"):
        fastest = 1.0 + 2.5 * person.spread.speed_percent / 100.0

        assert person.arm.raise_deg_s * fastest * 1.875 < 30.0
        assert person.arm.lower_deg_s * fastest * 1.875 < 30.0


def test_an_unknown_code_names_those_there_are() -> None:
    with pytest.raises(DescriptionError, match=r"no trainee 'T99'; there are E01, .*T08"):
        trainee("T99")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[T1]\nfault = 'x'\nabout = 'y'", "T1|regex"),
        ("[T01]\nabout = 'y'", "fault"),
        ("[T01]\nfault = 'x'\nabout = 'y'\n[T01.hand]\nforce = 3.0", "unknown field `force`"),
        ("[T01]\nfault = 'x'\nabout = 'y'\n[T01.hand]\nforce_n = -3.0", r"hand.force_n"),
        ("[T01]\nfault = 'x'\nabout = 'y'\n[T01.hand]\nforce_n = 3.0\nwander_n = 9.0", "pull"),
        ("[T01]\nfault = 'x'\nabout = 'y'\n[T01.learning]\nmodel = 'E1'\nrepetitions = 2.0", "E1"),
        ("[T01", "not valid TOML"),
    ],
)
def test_a_broken_file_is_refused_with_the_place(tmp_path: Path, text: str, message: str) -> None:
    with pytest.raises(DescriptionError, match=message) as caught:
        load(tmp_path, text)

    assert "people.toml" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_blending_goes_from_oneself_to_the_model() -> None:
    own, model = trainee("T09").hand, trainee("E01").hand

    assert blend(own, model, 0.0) == own
    assert blend(own, model, 1.0) == model
    assert blend(own, model, 0.5).azimuth_deg == (own.azimuth_deg + model.azimuth_deg) / 2
