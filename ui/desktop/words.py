"""Sentences in the reader's language, by Qt's own mechanism.

English stands in the sources. ``make translations TO=de`` gathers what is to be translated
(`ui.desktop.translations`); a file ``perpend_de.qm`` beside this module is used where the system
speaks that language. What `ui.live` says is translated here too, by its English text.
"""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import QCoreApplication, QLocale, QTranslator

from analysis.said import Said

CONTEXT = "perpend"


def tr(text: str) -> str:
    """Return *text* in the reader's language, itself if there is no translation.

    A sentence that knows its parts is translated by its pattern, and so are the parts.
    """
    if isinstance(text, Said):
        return _translated(text.pattern).format(*map(tr, text.parts))
    return _translated(text)


def _translated(text: str) -> str:
    return QCoreApplication.translate(CONTEXT, text)


def speak(locale: QLocale, folder: Path) -> bool:
    """Speak the language of a place, if its file is in the folder; return whether it is."""
    application = QCoreApplication.instance()
    translator = QTranslator(application)
    if application is None or not translator.load(locale, "perpend", "_", str(folder)):
        return False
    return application.installTranslator(translator)
