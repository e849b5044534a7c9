"""Sentences in the reader's language, by Qt's own mechanism.

English stands in the sources. ``make translations`` gathers what is to be translated; a file
``perpend_xx.qm`` beside this module is loaded for the language the system or ``--language`` asks
for. What `ui.live` says is translated here too, by its English text.
"""

from __future__ import annotations

from PySide6.QtCore import QCoreApplication

CONTEXT = "perpend"


def tr(text: str) -> str:
    """Return *text* in the reader's language, itself if there is no translation."""
    return QCoreApplication.translate(CONTEXT, text)
