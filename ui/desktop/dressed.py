"""How a window looks, changed by the same keys in every window and remembered for all of them."""

from __future__ import annotations

from ui.desktop import look
from ui.live.preferences import Memory

TEXT_STEP = 1.1


class Dressed:
    """A window that can be dressed anew: a subclass has ``_memory`` and says how."""

    _memory: Memory

    def dress(self) -> None:
        """Make everything anew in the colours and the size of text that are wanted."""
        raise NotImplementedError

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
