"""How a window looks, changed by the same keys in every window and remembered for all of them."""

from __future__ import annotations

from ui.desktop import look
from ui.live.preferences import Memory

TEXT_STEP = 1.1
SETTLED_FRAMES = 8
"""Text follows the window's size once that has stayed the same for so many frames."""


class Dressed:
    """A window that can be dressed anew: a subclass has ``_memory`` and says how."""

    _memory: Memory
    _fitting: tuple[float, int] = (0.0, 0)

    def dress(self) -> None:
        """Make everything anew in the colours and the size of text that are wanted."""
        raise NotImplementedError

    def fitting_scale(self) -> float:
        """Return the size of text that is wanted, or the largest that there is room for."""
        raise NotImplementedError

    def follow_the_size(self) -> None:
        """Dress anew where a window has become larger or smaller, and stays so."""
        wanted = self.fitting_scale()
        before, frames = self._fitting
        self._fitting = (wanted, frames + 1 if wanted == before else 0)
        if wanted != look.text_scale() and self._fitting[1] >= SETTLED_FRAMES:
            self.dress()

    def larger_text(self) -> None:
        """Make everything written larger."""
        self.resize_text(TEXT_STEP)

    def smaller_text(self) -> None:
        """Make everything written smaller."""
        self.resize_text(1.0 / TEXT_STEP)

    def resize_text(self, by: float) -> None:
        """Make everything written so many times larger, within what is readable."""
        wanted = self._memory.now.text_scale * by
        self._memory.change(text_scale=min(look.MOST_SCALE, max(look.LEAST_SCALE, wanted)))
        self.dress()

    def toggle_dark(self) -> None:
        """Change between light and dark."""
        self._memory.change(dark=not self._memory.now.dark)
        self.dress()
