"""Pictures of any view, as pixels and as lines, in files of their own."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import QMarginsF, QSizeF
from PySide6.QtGui import QPageSize, QPdfWriter
from PySide6.QtWidgets import QWidget

from analysis.said import said
from ui.names import new_picture_path

POINTS_PER_INCH = 72.0
DOTS_PER_INCH = 96


def save_png(widget: QWidget, path: Path) -> None:
    """Write a widget as pixels.

    Raises:
        OSError: The file cannot be written.
    """
    if not widget.grab().save(str(path), "PNG"):
        raise OSError(f"{path}: the picture cannot be written")


def save_pdf(widget: QWidget, path: Path) -> None:
    """Write a widget as lines and letters, on a page of its size.

    PDF and not SVG: Qt's SVG writer neither clips nor keeps the size of hatching.

    Raises:
        OSError: The file cannot be written.
    """
    page = QSizeF(widget.size()) * (POINTS_PER_INCH / DOTS_PER_INCH)
    writer = QPdfWriter(str(path))
    writer.setResolution(DOTS_PER_INCH)
    writer.setPageSize(
        QPageSize(page, QPageSize.Unit.Point, "", QPageSize.SizeMatchPolicy.ExactMatch)
    )
    writer.setPageMargins(QMarginsF())
    writer.setTitle(widget.accessibleName() or "perpend")
    widget.render(writer)
    if not path.is_file():
        raise OSError(f"{path}: the picture cannot be written")


def save_picture_of(widget: QWidget, folder: Path, tell: Callable[..., None]) -> None:
    """Write a widget both ways into a folder, and say where or why not."""
    path = new_picture_path(folder)
    try:
        save_png(widget, path.with_suffix(".png"))
        save_pdf(widget, path.with_suffix(".pdf"))
    except OSError as error:
        tell(said("no picture: {}", error), trouble=True)
        return
    tell(said("picture saved: {}, .png and .pdf", path.name))
