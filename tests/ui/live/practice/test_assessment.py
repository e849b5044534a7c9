"""What an assessment counts, how verdicts come together, and what a checklist may say."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from acquisition.recording.reader import read_recording
from analysis.criteria import Verdict
from analysis.pipeline import analyse
from analysis.target import Target
from analysis.trial import Practice, QualityFinding, Severity, Trial
from ui.live.practice.assessment import AssessmentError, assess_trial
from ui.live.practice.checklist import ChecklistError, Tick, load_checklist


@pytest.fixture(scope="module")
def one(recorded: Path) -> Trial:
    """Return a trial with one repetition whose hand slips upward."""
    return analyse(read_recording(recorded))


def with_practice(trial: Trial, *practices: Practice | None) -> Trial:
    """Return the trial with its repetition once for each practice given."""
    (repetition,) = trial.repetitions
    return replace(
        trial,
        repetitions=tuple(
            replace(repetition, number=number, practice=practice)
            for number, practice in enumerate(practices, 1)
        ),
    )


def practice(block: int = 1, **changes: Any) -> Practice:
    made = Practice(
        plan="assessment", plan_sha256="ab" * 32, block=block, block_name="Counted",
        repetition=1, number=1, of_blocks=1, of_repetitions=1, feedback="none",
        picture_percent=0.0,
    )  # fmt: skip
    return replace(made, **changes)


def test_without_a_plan_every_whole_repetition_counts_and_the_sheet_says_so(one: Trial) -> None:
    found = assess_trial(one, load_checklist())

    assert [each.repetition.number for each in found.repetitions] == [1]
    assert "no plan was followed" in found.feedback
    assert found.criteria[0].label == "upward push"
    assert found.criteria[0].verdict is Verdict.NOT_MET


def test_of_a_plan_the_last_block_counts_and_the_rest_is_left_out_with_its_reason(
    one: Trial,
) -> None:
    trial = with_practice(
        one,
        practice(block_name="Settling in", of_blocks=2),
        practice(2, set_aside="the phone rang", of_blocks=2),
        practice(2, of_blocks=2),
        None,
        practice(2, of_blocks=2),
    )

    found = assess_trial(trial, load_checklist())

    assert [each.repetition.number for each in found.repetitions] == [3, 5]
    assert found.left_out == (
        (1, "settling in (Settling in)"),
        (2, "the phone rang"),
        (4, "it was no part of the plan"),
    )
    assert found.feedback == ""


def test_a_test_with_help_is_called_none(one: Trial) -> None:
    found = assess_trial(
        with_practice(one, practice(), practice(number=2, picture_percent=40.0)), load_checklist()
    )

    assert found.feedback.startswith("feedback was given in repetition 2 of the plan")


def test_while_repetitions_of_the_plan_are_missing_no_criterion_is_met(one: Trial) -> None:
    lenient = replace(one, target=Target(superior_limit_deg=30.0))
    whole = assess_trial(with_practice(lenient, practice()), load_checklist())
    assert whole.unfinished == ""
    assert whole.criteria[0].verdict is Verdict.MET

    found = assess_trial(with_practice(lenient, practice(of_repetitions=5)), load_checklist())

    assert found.unfinished == "the plan asks for 5 repetitions, 1 of them counted"
    assert found.criteria[0].verdict is Verdict.UNKNOWN


def test_a_recording_that_ended_while_settling_in_is_no_examination(one: Trial) -> None:
    with pytest.raises(AssessmentError, match=r"no repetition counts \(settling in"):
        assess_trial(with_practice(one, practice(of_blocks=2)), load_checklist())


def test_what_a_plan_noted_and_nobody_can_read_is_no_examination(one: Trial) -> None:
    garbled = QualityFinding(
        key="practice_events", value="1 of 1 cannot be read", limit="none",
        severity=Severity.WARNING, advice="",
    )  # fmt: skip

    with pytest.raises(AssessmentError, match="cannot be read"):
        assess_trial(replace(one, quality=(*one.quality, garbled)), load_checklist())


def test_nothing_to_count_is_refused(one: Trial) -> None:
    trial = with_practice(one, practice(set_aside="a visitor"))

    with pytest.raises(AssessmentError, match="no repetition counts"):
        assess_trial(trial, load_checklist())


def test_near_the_limit_it_is_undecided_also_together(one: Trial) -> None:
    """A limit right at what was measured: within twice the uncertainty of it."""
    measured = assess_trial(one, load_checklist()).criteria[0].each[0].value
    assert measured is not None
    near = replace(one, target=Target(superior_limit_deg=measured + 0.1))

    found = assess_trial(near, load_checklist())

    assert found.criteria[0].verdict is Verdict.UNDECIDED


def test_another_limit_has_another_hash(one: Trial) -> None:
    other = replace(one, target=Target(cone_deg=12.0))

    hashes = {assess_trial(each, load_checklist()).parameters_sha256 for each in (one, other)}

    assert len(hashes) == 2


def test_the_sample_checklist_is_open_until_it_is_ticked() -> None:
    sample = load_checklist()

    assert {item.key for item in sample.items} == {
        "landmark_found", "hand_below", "scapula_held", "stop_agreed", "slow_asked",
    }  # fmt: skip
    assert {item.tick for item in sample.items} == {Tick.OPEN}
    ticked = sample.ticked({"stop_agreed": Tick.NO}, "E02")
    assert [item.tick for item in ticked.items if item.key == "stop_agreed"] == [Tick.NO]
    assert ticked.examiner == "E02"


@pytest.mark.parametrize("name", ["Jo", "E02 Jo", "examiner"])
def test_an_examiner_is_a_code_never_a_name(name: str) -> None:
    with pytest.raises(ChecklistError, match="never a name"):
        load_checklist().ticked({}, name)


GOOD = 'name = "mine"\ntitle = "Mine"\n[[item]]\nkey = "a"\ntext = "Looks"\n'


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        (GOOD + 'tick = "maybe"\n', r"Invalid enum value 'maybe' - at `\$\.item\[0\]\.tick`"),
        (GOOD + '[[item]]\nkey = "a"\ntext = "Again"\n', "key 'a' stands for two items"),
        (GOOD.replace("text", "texts"), r"unknown field `texts`|missing required field `text`"),
        ('examiner = "Jo"\n' + GOOD, r"at `\$\.examiner`"),
        ('name = "mine"\ntitle = "Mine"\n', "missing required field `item`"),
    ],
)
def test_a_checklist_that_will_not_do_is_refused_in_one_line(
    tmp_path: Path, text: str, complaint: str
) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")

    with pytest.raises(ChecklistError, match=complaint) as caught:
        load_checklist(path)

    assert str(path) in str(caught.value)
    assert "\n" not in str(caught.value)
