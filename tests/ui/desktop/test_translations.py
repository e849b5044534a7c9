"""The whole way of a translation: gathered, released by Qt's tool, loaded, shown."""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from PySide6.QtCore import QCoreApplication, QLocale, QTranslator
from pytestqt.qtbot import QtBot

from ui.desktop import use_language
from ui.desktop.translations import gathered, main, texts
from ui.desktop.verdict_line import VerdictLine
from ui.desktop.window import TrainerWindow
from ui.desktop.words import speak, tr
from ui.errors import UserError

RELEASE = shutil.which("pyside6-lrelease") or str(
    Path(sys.executable).with_name("pyside6-lrelease")
)


@pytest.mark.parametrize(
    "text",
    [
        "from above",
        "less upward: push lower",
        "too light to tell",
        "record",
        "hand away",
        "slower",
        "Take the hand away",
        "take the zero",
        "who practises",
    ],
)
def test_what_panels_keys_and_models_say_is_gathered(text: str) -> None:
    assert text in texts()


def test_no_name_of_a_variable_or_a_file_is_gathered() -> None:
    assert [text for text in texts() if text.isidentifier() and "_" in text] == []


def test_what_was_translated_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "perpend_xx.ts"
    path.write_text(translated("from above", "von oben"), encoding="utf-8")

    assert main([str(path)]) == 0

    found = ET.parse(path).getroot()
    assert [
        message.findtext("translation")
        for message in found.iter("message")
        if message.findtext("source") == "from above"
    ] == ["von oben"]


def translated(text: str, other: str) -> str:
    """Return everything gathered, with one text translated."""
    head, _, body = gathered().partition("<TS")
    root = ET.fromstring("<TS" + body)
    for message in root.iter("message"):
        translation = message.find("translation")
        if message.findtext("source") == text and translation is not None:
            translation.text = other
            del translation.attrib["type"]
    return head + ET.tostring(root, encoding="unicode")


@pytest.mark.skipif(not Path(RELEASE).exists(), reason="Qt's release tool is not installed")
def test_a_translation_reaches_the_window(
    window: Callable[..., TrainerWindow], qtbot: QtBot, tmp_path: Path
) -> None:
    source = tmp_path / "perpend_de.ts"
    source.write_text(translated("less upward: push lower", "weniger nach oben"), encoding="utf-8")
    subprocess.run(
        [RELEASE, str(source), "-qm", str(tmp_path / "perpend_de.qm")],
        check=True, capture_output=True,
    )  # fmt: skip
    assert speak(QLocale(QLocale.Language.German), tmp_path)
    try:
        assert tr("less upward: push lower") == "weniger nach oben"
        one = window("virtual:?trainee=T01&seed=7&speed=4")
        qtbot.waitUntil(
            lambda: "weniger nach oben" in one.panel(VerdictLine).text(), timeout=20_000
        )
    finally:
        application = QCoreApplication.instance()
        assert application is not None
        for translator in application.findChildren(QTranslator):
            application.removeTranslator(translator)


def test_without_a_file_english_stays(qtbot: QtBot, tmp_path: Path) -> None:
    assert not speak(QLocale(QLocale.Language.Finnish), tmp_path)
    assert tr("from above") == "from above"


def test_a_language_without_a_translation_is_refused_with_those_that_there_are() -> None:
    with pytest.raises(UserError, match="no translation 'xx'; there are: en"):
        use_language("xx")


def test_a_language_that_is_asked_for_is_the_one_of_the_window() -> None:
    before = QLocale()
    try:
        use_language("en")
        assert QLocale().language() == QLocale.Language.English
    finally:
        QLocale.setDefault(before)
