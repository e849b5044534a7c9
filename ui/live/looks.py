"""What all panels show at one moment: each model looked at once, whoever shows it.

Models that follow the movement must see every moment exactly once, also when two windows, or none
of them, show what they say.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any, Protocol

from ui.live.moment import Moment


class Model(Protocol):
    """Turns a moment into what its widget shows."""

    def look(self, moment: Moment) -> Any:
        """Return the look."""
        ...


Maker = Callable[[], Model]
Troubled = Callable[[Exception], None]


class Looks:
    """Keeps one model of each kind.

    Args:
        makers: What makes the models; the same maker twice makes one model.
        troubled: Told of an error in a model, which is then asked no more: the others go on.
    """

    def __init__(self, makers: Iterable[Maker], troubled: Troubled) -> None:
        self._models = {maker: maker() for maker in makers}
        self._troubled = troubled

    def of(self, moment: Moment) -> Mapping[Maker, Any]:
        """Return the looks of a moment by what made their model; a broken model has none."""
        found: dict[Maker, Any] = {}
        for maker, model in list(self._models.items()):
            try:
                found[maker] = model.look(moment)
            except Exception as error:  # noqa: BLE001 - one broken panel must not stop the others
                del self._models[maker]
                self._troubled(error)
        return found
