"""Every word that the window shows can be translated: seen through a language of brackets."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from PySide6.QtCore import QBuffer, QCoreApplication, QIODevice, QTranslator
from PySide6.QtSvg import QSvgGenerator
from PySide6.QtWidgets import QWidget
from pytestqt.qtbot import QtBot

from acquisition.record import record_trial
from acquisition.recording.model import TrialLabel
from acquisition.recording.reader import read_recording
from acquisition.virtual_rig import default_rig
from analysis.pipeline import analyse
from analysis.target import Target
from ui.cli.live import practice_of
from ui.desktop.after_card import AfterCard, CompactCard
from ui.desktop.guide import GuideWindow
from ui.desktop.review_window import ReviewWindow
from ui.desktop.screens_asking import CONDITIONS
from ui.desktop.translations import texts
from ui.desktop.view_body import View
from ui.desktop.window import TrainerWindow
from ui.live.flow import Choice, Flow, Stage, Ways

SVG_TEXT = "{http://www.w3.org/2000/svg}text"
WAIT_MS = 40_000
ADDRESS = re.compile(r"(virtual|tcp|serial):\S+")
BRACKETED = re.compile(r"«[^«»]*»")
NO_WORDS = {"REC", "UTC", "perpend", "Space", "Esc", "Ctrl", "Right", "Left", "Up", "Down"}
NO_WORDS |= set(re.findall(r"[a-z]+", CONDITIONS))
"""Names of keys and things, and labels that go into tables: the same in every language."""


class Brackets(QTranslator):
    """Puts everything that is gathered for translators in brackets."""

    def __init__(self, parent: QCoreApplication) -> None:
        super().__init__(parent)
        self._known = set(texts())

    def translate(self, _context: str, text: str, *_rest: object) -> str | None:
        return f"«{text}»" if text in self._known else None

    def isEmpty(self) -> bool:  # noqa: N802 - Qt's name
        return False


@pytest.fixture
def brackets(qtbot: QtBot) -> Iterator[None]:
    application = QCoreApplication.instance()
    assert application is not None
    translator = Brackets(application)
    assert application.installTranslator(translator)
    yield
    application.removeTranslator(translator)
    translator.deleteLater()


def shown(widget: QWidget) -> list[str]:
    """Return every text that is drawn when a widget is painted."""
    device = QBuffer()
    assert device.open(QIODevice.OpenModeFlag.WriteOnly)
    generator = QSvgGenerator()
    generator.setOutputDevice(device)
    generator.setSize(widget.size())
    widget.render(generator)
    del generator  # before what it writes to
    root = ET.fromstring(bytes(device.data().data()))
    return ["".join(one.itertext()) for one in root.iter(SVG_TEXT)]


def plain_words(drawn: list[str]) -> set[str]:
    """Return the words outside of brackets."""
    text = ADDRESS.sub("", " ".join(drawn))
    while BRACKETED.search(text):
        text = BRACKETED.sub(" ", text)
    return set(re.findall(r"[A-Za-z]{3,}", text)) - NO_WORDS


@pytest.mark.parametrize("view", list(View))
def test_every_word_of_a_view_can_be_translated(
    brackets: None, window: Callable[..., TrainerWindow], qtbot: QtBot, view: View
) -> None:
    one = window("virtual:?trainee=T01&seed=7&speed=8&top=60&reps=0")
    if view is View.TRAINEE:
        one.change_view()
    qtbot.waitUntil(lambda: any("done" in text for text in shown(one)), timeout=WAIT_MS)

    assert plain_words(shown(one)) == set()


@pytest.mark.parametrize("view", list(View))
def test_every_word_of_a_plan_and_its_card_can_be_translated(
    brackets: None, window: Callable[..., TrainerWindow], qtbot: QtBot, view: View
) -> None:
    one = window("virtual:?trainee=T01&seed=7&speed=8&top=60&reps=0")
    practice_of("first_lesson", sound=False)(one.trainer)
    one.trainer.take_checklist().show_or_hide()
    if view is View.TRAINEE:
        one.change_view()
    card = AfterCard if view is View.TRAINEE else CompactCard
    qtbot.waitUntil(lambda: one.panel(card).isVisible(), timeout=WAIT_MS)
    one.refresh()

    assert plain_words(shown(one)) == set()


def test_every_word_before_practice_can_be_translated(
    brackets: None, qtbot: QtBot, tmp_path: Path
) -> None:
    port = "virtual:?trainee=T01&seed=7&reps=0&speed=4"
    ways = Ways(
        lambda: (Choice(port, "asking the ports"),),
        lambda _url, _description: default_rig("right"),
        lambda _url, _rig, _target, _say: iter(()),
    )
    guide = GuideWindow(Flow(ways, out_dir=tmp_path, target=Target()))
    qtbot.addWidget(guide)
    guide.show()
    try:
        for stage in (Stage.CHOOSE, Stage.SELF_TEST, Stage.ZERO, Stage.HOME, Stage.WHO):

            def there(stage: Stage = stage) -> bool:
                if guide.flow.stage is not stage and not guide.flow.doing:
                    guide.go_on()
                guide.refresh()
                return guide.flow.stage is stage

            qtbot.waitUntil(there, timeout=WAIT_MS)
            assert plain_words(shown(guide)) == set()
    finally:
        guide.close()


def test_every_word_of_a_review_can_be_translated(
    brackets: None, qtbot: QtBot, tmp_path: Path
) -> None:
    outcome = record_trial(
        "virtual:?trainee=T01&seed=3&reps=1&speed=max",
        tmp_path / "T01.h5",
        rig=default_rig(),
        target_json=Target().to_json(),
        label=TrialLabel(person="T01"),
    )
    one = ReviewWindow([analyse(read_recording(outcome.path))], out_dir=tmp_path)
    qtbot.addWidget(one)
    one.show()
    try:
        one.refresh()
        assert plain_words(shown(one)) == set()
    finally:
        one.close()
