"""What the window remembers from one time to the next: how it looks and from where it is seen.

A small TOML file of the person at the screen. A file that is missing or broken is no reason not
to practise: the defaults are taken.
"""

from __future__ import annotations

import contextlib
import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated

import msgspec
from msgspec import Meta

from ui.live.target_map import Stand


class Preferences(msgspec.Struct, frozen=True, kw_only=True):
    """How the window looks.

    Attributes:
        front: The map is seen from the front of the shoulder, not from behind.
        dark: Light on dark.
        text_scale: How much larger than usual text is.
    """

    front: bool = False
    dark: bool = False
    text_scale: Annotated[float, Meta(ge=0.8, le=2.0)] = 1.0

    @property
    def stand(self) -> Stand:
        """From where the shoulder is seen."""
        return Stand.FRONT if self.front else Stand.BEHIND


def preferences_path() -> Path:
    """Return where they are kept: in the folder that the system has for such things."""
    base = os.environ.get("XDG_CONFIG_HOME")
    return (Path(base) if base else Path.home() / ".config") / "perpend" / "window.toml"


@dataclass(slots=True)
class Memory:
    """Keeps preferences, in a file if there is one.

    Attributes:
        path: The file; None keeps them for this time only.
        now: As they are.
    """

    path: Path | None = None
    now: Preferences = field(default_factory=Preferences)

    @classmethod
    def at(cls, path: Path) -> Memory:
        """Return what a file remembers, the defaults if it cannot be used."""
        kept = Preferences()
        with contextlib.suppress(OSError, msgspec.DecodeError):
            kept = msgspec.toml.decode(path.read_bytes(), type=Preferences)
        return cls(path, kept)

    def change(self, **changes: bool | float) -> Preferences:
        """Take changes and keep them; a disk that will not have them is no reason to stop."""
        self.now = msgspec.structs.replace(self.now, **changes)
        if self.path is not None:
            lines = [
                f"{name} = {str(value).lower()}"
                for name, value in msgspec.structs.asdict(self.now).items()
            ]
            with contextlib.suppress(OSError):
                self.path.parent.mkdir(parents=True, exist_ok=True)
                self.path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        return self.now
