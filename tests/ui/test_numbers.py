"""Numbers as people read them."""

from __future__ import annotations

import pytest

from analysis.trial import MeasureValue
from ui.numbers import interval_shown, shown, with_u


@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [
        (None, 1, "—"),
        (True, 0, "yes"),
        (False, 0, "no"),
        ("left", 0, "left"),
        (3, 1, "3"),
        (3.14159, 2, "3.14"),
        (-3.14159, 1, "−3.1"),
        (-0.04, 1, "0.0"),
    ],
)
def test_values_are_shown(value: MeasureValue, decimals: int, text: str) -> None:
    assert shown(value, decimals) == text


@pytest.mark.parametrize(
    ("ends", "text"),
    [
        ((36.61, 39.33), "36.6 to 39.3"),
        ((29.861, 29.902), "29.86 to 29.90"),
        ((-3.9042, -3.9021), "−3.904 to −3.902"),
        ((1.00001, 1.00002), "1.000 to 1.000"),
    ],
)
def test_the_ends_of_an_interval_can_be_told_apart(ends: tuple[float, float], text: str) -> None:
    assert interval_shown(ends, 1) == text


def test_a_sign_is_shown_on_request() -> None:
    assert shown(2.0, 1, sign="+") == "+2.0"
    assert shown(-2.0, 1, sign="+") == "−2.0"


def test_an_uncertainty_follows_its_value_and_never_stands_alone() -> None:
    assert with_u(30.84, 0.91) == "30.8 ± 0.9"
    assert with_u(30.84, None) == "30.8"
    assert with_u(None, 0.91) == "—"
