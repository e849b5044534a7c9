"""The methods text: of the parameters used, with every work it cites."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from acquisition.recording.reader import read_recording
from analysis.pipeline import analyse
from analysis.scapula import ScapularRhythm
from analysis.settings import AnalysisSettings
from analysis.target import ForceBand, Target
from analysis.trial import Trial
from ui.report import build_report
from ui.report.methods import CITATION, PASSAGES, Methods, methods_of
from ui.report.references import REFERENCES


@pytest.fixture(scope="module")
def trial(recorded: Path) -> Trial:
    return analyse(read_recording(recorded))


def text_of(methods: Methods) -> str:
    return " ".join(text for _, text in methods.paragraphs)


def test_it_tells_the_parameters_that_were_used(recorded: Path) -> None:
    settings = AnalysisSettings(
        cutoff_hz=7.5, filter_order=4, contact_on_n=6.5, contact_gap_s=0.35, orientation_gap_s=0.2
    )

    text = text_of(methods_of(analyse(read_recording(recorded), Target(), settings)))

    assert "Butterworth filter of order 4" in text
    assert "7.5 Hz is the −3 dB point" in text
    assert "on above 6.5 N" in text
    assert "up to 0.35 s did not end a hold" in text
    assert "gaps of the inertial sensor of up to 0.2 s" in text


def test_works_are_numbered_as_they_come_and_all_are_listed(trial: Trial) -> None:
    methods = methods_of(trial)

    cited = [
        int(n) for found in re.findall(r"\[([\d, ]+)\]", text_of(methods)) for n in found.split(",")
    ]

    assert list(dict.fromkeys(cited)) == list(range(1, len(methods.works) + 1))
    assert not CITATION.search(text_of(methods))


def test_every_work_known_is_cited_by_some_trial(trial: Trial) -> None:
    moving = Target(scapula=ScapularRhythm())
    six_axes = replace(trial, recording={**trial.recording, "axes": 6}, target=moving)
    told = " ".join(passage(six_axes) for group in PASSAGES.values() for passage in group)

    assert {key for found in CITATION.findall(told) for key in found.split(",")} == set(REFERENCES)


def test_what_was_not_done_is_not_told(trial: Trial) -> None:
    three = methods_of(replace(trial, recording={**trial.recording, "axes": 3, "side": "right"}))
    six = methods_of(replace(trial, recording={**trial.recording, "axes": 6, "side": "left"}))

    assert "line of action" not in text_of(three)
    assert "mirrored" not in text_of(three)
    assert "line of action" in text_of(six)
    assert "mirrored" in text_of(six)


def test_the_uncertainties_put_in_are_those_of_the_rig_and_the_recording(trial: Trial) -> None:
    sources = trial.series.sources
    assert sources is not None
    other = replace(sources, mass_kg=0.017, mounting_rad=np.deg2rad(0.7), force_share=0.003)
    matrix = replace(other, cell_covariance_n2=0.01 * np.eye(3))

    plain, told, stated = (
        text_of(methods_of(replace(trial, series=replace(trial.series, sources=one))))
        for one in (sources, other, matrix)
    )

    force_n = np.sqrt(sources.force_variance_n2)
    assert f"{force_n:.2g} N in each component of the force (all three)" in plain
    assert "each coefficient" not in plain
    assert "0.3 % of each coefficient of the calibration, 17 g in the mass" in told
    assert "0.7° in the mounting about each axis" in told
    assert "(noise and zero), the covariance of the calibration" in stated


def test_a_rig_that_was_moved_is_told_and_one_that_was_not(trial: Trial) -> None:
    lines = [
        replace(line, value="3.2° before 41 s") if line.key == "rig_bumped" else line
        for line in trial.quality
    ]

    still, moved = methods_of(trial), methods_of(replace(trial, quality=tuple(lines)))

    assert "This was never so." in text_of(still)
    assert "Found: 3.2° before 41 s." in text_of(moved)


def test_the_longest_gap_bridged_is_that_of_each_stream(trial: Trial) -> None:
    """A stream slower than 125 Hz may lose one sample: two and a half spacings are bridged."""

    def told(**rates_hz: float) -> str:
        facts = {**trial.recording, "rates_hz": rates_hz}
        return text_of(methods_of(replace(trial, recording=facts)))

    assert "spacings of more than 20 ms were left" in told(force=1000.0, imu=500.0)
    assert "more than 20 ms (force) and 25 ms (imu) were left" in told(force=1000.0, imu=100.0)


def test_what_counts_as_on_target_is_told_as_used(trial: Trial) -> None:
    other = Target(cone_deg=7.5, superior_limit_deg=1.5, force_band=ForceBand(low_n=15, high_n=45))

    told = text_of(methods_of(replace(trial, target=other)))

    assert "within 7.5° of the target and not more than 1.5° upward" in told
    assert "between 15 and 45 N" in told


def test_a_second_cell_is_told_where_there_is_one(trial: Trial) -> None:
    many = np.zeros(len(trial.series))
    without = replace(trial.series, stabiliser_n=None, stabiliser_on=None)
    having = replace(trial.series, stabiliser_n=many, stabiliser_on=many > 0.0)

    assert "second load cell" not in text_of(methods_of(replace(trial, series=without)))
    assert "second load cell" in text_of(methods_of(replace(trial, series=having)))


def test_a_target_that_moves_is_told_with_its_rhythm(trial: Trial) -> None:
    moving = replace(trial, target=Target(scapula=ScapularRhythm(rhythm_raising=2.0)))

    still, told = text_of(methods_of(trial)), text_of(methods_of(moving))

    assert "scapula," not in still
    assert "moves with the scapula, 2 to 1 while raising and 2.7 to 1 while lowering" in told
    assert "it moves with the scapula" in build_report(moving)


def test_every_work_names_its_year_and_where_it_is_found() -> None:
    for work in REFERENCES.values():
        assert re.search(r"\((19|20)\d\d\)", work)
        assert re.search(r"doi:10\.\d{4,}/\S+$|JCGM 100:2008$| \d+:\d+–\d+[\d–, and]+$", work)


def test_the_report_carries_it(trial: Trial) -> None:
    page = build_report(trial)

    assert "Butterworth filter of order 2" in page
    assert page.count("<li>") >= len(methods_of(trial).works)
