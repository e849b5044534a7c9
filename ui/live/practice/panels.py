"""What the practice panels of a window show, from the look that a moment carries."""

from __future__ import annotations

from ui.live.moment import Moment
from ui.live.practice.card import Card
from ui.live.practice.look import PracticeLook
from ui.live.practice.stop_drill import DrillLook
from ui.live.practice.ticking import TickingLook


class CardModel:
    """Gives the card of what was done last."""

    def look(self, moment: Moment) -> Card | None:
        """Return the card, None if none is to be seen."""
        return None if moment.practice is None else moment.practice.card


class PlaceModel:
    """Gives the place in the plan."""

    def look(self, moment: Moment) -> PracticeLook | None:
        """Return the look of the run, None without a plan."""
        return moment.practice


class DrillModel:
    """Gives how the stop drill stands."""

    def look(self, moment: Moment) -> DrillLook | None:
        """Return the look of the drill, None if there never was one."""
        return moment.drill


class ChecklistModel:
    """Gives how the instructor's checklist stands."""

    def look(self, moment: Moment) -> TickingLook | None:
        """Return the look of the list, None if it was never opened."""
        return moment.ticking
