from __future__ import annotations

import pytest

from acquisition.virtual_rig.faults import FAULTS, Dice, LineFault, parse_faults

FRAME = bytes(range(1, 101))


def after(name: str, share: float, frames: int) -> list[bytes]:
    fault = FAULTS[name]
    assert isinstance(fault, LineFault)
    dice = Dice(3, "R01")
    return [fault.apply(FRAME, share, dice) for _ in range(frames)]


def test_a_plan_is_read_as_names_and_numbers() -> None:
    assert parse_faults("loss:0.001,flip:1e-5,restart:30") == {
        "loss": 0.001,
        "flip": 1e-5,
        "restart": 30.0,
    }
    assert parse_faults("") == {}


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("explode:1", "unknown fault 'explode'; known: loss, flip"),
        ("loss", "a share from 0 to 1, as loss:NUMBER"),
        ("loss:1.5", "a share from 0 to 1"),
        ("restart:-1", "seconds, 0 or more"),
        ("restart:inf", "seconds"),
        ("flip:nan", "a share"),
        ("loss:0.1,loss:0.2", "given twice"),
    ],
)
def test_a_plan_that_will_not_do_is_refused(text: str, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        parse_faults(text)


def test_as_many_frames_are_lost_as_asked_for() -> None:
    lost = after("loss", 0.1, 5000).count(b"")

    assert 500 - 5 * 21 < lost < 500 + 5 * 21  # binomial, five SDs


def test_as_many_frames_are_doubled_as_asked_for() -> None:
    doubled = after("double", 0.1, 5000).count(FRAME + FRAME)

    assert 500 - 5 * 21 < doubled < 500 + 5 * 21


def test_a_damaged_byte_differs_in_one_bit() -> None:
    wrong = [
        (one ^ other).bit_count()
        for frame in after("flip", 0.01, 1000)
        for one, other in zip(frame, FRAME, strict=True)
        if one != other
    ]

    assert set(wrong) == {1}
    assert 1000 - 5 * 32 < len(wrong) < 1000 + 5 * 32


def test_without_probability_nothing_happens_and_with_certainty_all_of_it() -> None:
    assert after("loss", 0.0, 50) == after("flip", 0.0, 50) == [FRAME] * 50
    assert after("loss", 1.0, 50) == [b""] * 50


def test_the_same_seed_damages_the_same_places() -> None:
    assert after("flip", 0.01, 100) == after("flip", 0.01, 100)
