"""Plans: what ships, what is refused and in which words, and how feedback fades."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ui.live.practice.plan import (
    Faded,
    NoFeedback,
    PlanError,
    faded_shows,
    load_plan,
    plan_named,
    shipped_plans,
)

GOOD = """
name = "mine"
title = "Mine"
about = "Of my own."
[[block]]
name = "One"
repetitions = 4
feedback = "faded"
"""


def written(folder: Path, text: str) -> Path:
    path = folder / "plan.toml"
    path.write_text(text, encoding="utf-8")
    return path


def shown(block: Faded) -> list[bool]:
    return [faded_shows(block, number) for number in range(1, block.repetitions + 1)]


def test_every_kind_of_feedback_has_a_plan_that_ships() -> None:
    plans = shipped_plans()
    kinds = {block.feedback for plan in plans.values() for block in plan.blocks}

    assert kinds == {"continuous", "bandwidth", "faded", "summary", "on_request", "none"}
    assert {"first_lesson", "retention", "transfer", "assessment"} <= set(plans)


def test_the_tests_that_ship_give_no_feedback() -> None:
    plans = shipped_plans()

    for name in ("retention", "transfer", "assessment"):
        assert all(isinstance(block, NoFeedback) for block in plans[name].blocks)


def test_a_plan_of_ones_own_is_found_by_its_file(tmp_path: Path) -> None:
    plan = plan_named(str(written(tmp_path, GOOD)))

    assert (plan.name, plan.repetitions, plan.blocks[0].feedback) == ("mine", 4, "faded")


def test_an_unknown_name_is_answered_with_those_there_are() -> None:
    with pytest.raises(PlanError, match=r"no plan 'fist_lesson'; there are assessment, .*TOML"):
        plan_named("fist_lesson")


@pytest.mark.parametrize(
    ("change", "complaint"),
    [
        (
            ('"faded"', '"fadet"'),
            "block 1: no feedback 'fadet'; there are continuous,",
        ),
        (('feedback = "faded"', ""), r"missing required field `feedback` - at `\$\.block\[0\]`"),
        (("repetitions = 4", "repetitions = 0"), r">= 1 - at `\$\.block\[0\]\.repetitions`"),
        (("repetitions", "repetition"), r"unknown field `repetition`|missing.*`repetitions`"),
        (('"faded"', '"faded"\nlast_percent = 101'), r"<= 100.0 - at `\$\.block\[0\]\.last_per"),
        (('"faded"', '"faded"\nfirst_percent = 20\nlast_percent = 30'), "feedback fades"),
        (('"faded"', '"faded"\nafter = 5'), r"unknown field `after`"),
        (('"mine"', '"My plan"'), r"matching regex .* - at `\$\.name`"),
        (('"Of my own."', '"Of my own."\nassessment = true'), "an assessment gives no feedback"),
        (("[[block]]", "[block"), "is not valid TOML"),
    ],
)
def test_what_is_wrong_is_said_in_one_line(
    tmp_path: Path, change: tuple[str, str], complaint: str
) -> None:
    path = written(tmp_path, GOOD.replace(*change))

    with pytest.raises(PlanError, match=complaint) as caught:
        load_plan(path)

    assert str(path) in str(caught.value)
    assert "\n" not in str(caught.value)


def test_feedback_fades_from_every_repetition_to_none() -> None:
    block = Faded(name="x", repetitions=12)

    assert "".join("x" if one else "." for one in shown(block)) == "xxx.xx..x..."


def test_half_of_the_repetitions_is_every_second_one() -> None:
    block = Faded(name="x", repetitions=6, first_percent=50, last_percent=50)

    assert shown(block) == [True, False] * 3


@given(st.integers(1, 60), st.floats(0, 100), st.floats(0, 100))
def test_the_share_that_is_shown_is_the_share_asked_for(count: int, a: float, b: float) -> None:
    """Off by half a repetition at most, and the first half has no fewer."""
    block = Faded(name="x", repetitions=count, first_percent=max(a, b), last_percent=min(a, b))
    found = shown(block)
    share = (a + b) / 200.0 if count > 1 else max(a, b) / 100.0

    assert abs(sum(found) - count * share) <= 0.5 + 1e-6
    assert sum(found[: count // 2]) >= sum(found[count // 2 + count % 2 :]) - 1


def test_plans_of_one_name_that_differ_are_told_apart(tmp_path: Path) -> None:
    one = load_plan(written(tmp_path, GOOD))
    other = load_plan(written(tmp_path, GOOD.replace("= 4", "= 5")))

    assert one.sha256 != other.sha256
    assert one.sha256 == load_plan(written(tmp_path, GOOD)).sha256
