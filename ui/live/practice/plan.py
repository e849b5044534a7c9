"""Practice plans: blocks of repetitions, each with the condition under which feedback is given.

A plan is a TOML file; `plans/` holds those that ship, FEEDBACK.md says why there are these
conditions. Which repetitions of a faded block show the picture follows from the plan alone.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, get_args

import msgspec
from msgspec import Meta

from acquisition.toml_records import read_toml, to_record
from ui.errors import UserError

SHIPPED = Path(__file__).with_name("plans")
SUFFIX = ".toml"

Percent = Annotated[float, Meta(ge=0, le=100)]
Code = Annotated[str, Meta(pattern=r"^[a-z][a-z0-9_]{0,39}$")]
Line = Annotated[str, Meta(min_length=1, max_length=80)]


class PlanError(UserError):
    """A plan is missing, broken or makes no sense."""


class _Table(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A table of the file: a misspelt key is an error, not a default."""


class _Block(_Table, frozen=True, kw_only=True, tag_field="feedback"):
    """What every block has.

    Attributes:
        name: For people.
        repetitions: How many.
        say: What the trainee is told at its beginning; may be empty.
    """

    name: Line
    repetitions: Annotated[int, Meta(ge=1, le=500)]
    say: Annotated[str, Meta(max_length=200)] = ""

    @property
    def feedback(self) -> str:
        """The condition, as it stands in the file."""
        return str(self.__struct_config__.tag)


class Continuous(_Block, frozen=True, kw_only=True, tag="continuous"):
    """The picture is there all the time, and each repetition is followed by its card."""


class Bandwidth(_Block, frozen=True, kw_only=True, tag="bandwidth"):
    """The picture is there only while something is outside its tolerance: quiet means right.

    Attributes:
        tolerance_percent: Width of the tolerance, of the target's cone, superior limit, force
            band and speed limit.
        lingers_s: How long the picture stays once all is inside again: nobody can read a flash.
    """

    tolerance_percent: Annotated[float, Meta(ge=25, le=400)] = 100.0
    lingers_s: Annotated[float, Meta(ge=0.1, le=10)] = 1.0


class Faded(_Block, frozen=True, kw_only=True, tag="faded"):
    """A falling share of the repetitions has the picture and the card, the others nothing.

    Attributes:
        first_percent: Share at the first repetition of the block.
        last_percent: Share at the last one; in between it falls evenly.
    """

    first_percent: Percent = 100.0
    last_percent: Percent = 0.0

    def __post_init__(self) -> None:
        if self.last_percent > self.first_percent:
            raise ValueError("last_percent must not be above first_percent: feedback fades")


class Summary(_Block, frozen=True, kw_only=True, tag="summary"):
    """No picture; after every few repetitions one card for all of them.

    Attributes:
        after: So many repetitions.
    """

    after: Annotated[int, Meta(ge=1, le=100)] = 5


class OnRequest(_Block, frozen=True, kw_only=True, tag="on_request"):
    """No picture; the card of the last repetition when the trainee asks for it."""


class NoFeedback(_Block, frozen=True, kw_only=True, tag="none"):
    """Nothing that tells of an error: for tests of retention, transfer and assessment."""


Block = Continuous | Bandwidth | Faded | Summary | OnRequest | NoFeedback
FEEDBACKS = tuple(str(kind.__struct_config__.tag) for kind in get_args(Block))


class Plan(_Table, frozen=True, kw_only=True):
    """A practice plan.

    Attributes:
        name: Stable, goes into the recording.
        title: For people.
        about: What it is for, in a sentence or two.
        assessment: Its outcome is a result sheet; then no block may give feedback.
        block: In order.
    """

    name: Code
    title: Line
    about: Annotated[str, Meta(min_length=1, max_length=400)]
    block: Annotated[tuple[Block, ...], Meta(min_length=1, max_length=50)]
    assessment: bool = False

    def __post_init__(self) -> None:
        showing = [one for one in self.block if not isinstance(one, NoFeedback)]
        if self.assessment and showing:
            raise ValueError(
                f"an assessment gives no feedback, but block '{showing[0].name}' does: "
                f"set its feedback to 'none'"
            )

    @property
    def blocks(self) -> tuple[Block, ...]:
        """The blocks, in order."""
        return self.block

    @property
    def repetitions(self) -> int:
        """How many there are together."""
        return sum(one.repetitions for one in self.block)

    @property
    def sha256(self) -> str:
        """Of what it asks for: two plans of one name that differ are told apart by it."""
        plain = json.dumps(self.to_dict(), sort_keys=True)
        return hashlib.sha256(plain.encode()).hexdigest()

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON."""
        plain: dict[str, Any] = msgspec.to_builtins(self)
        return plain


def load_plan(path: Path) -> Plan:
    """Read a plan.

    Raises:
        PlanError: It is missing or broken, or a key is wrong; one line says which.
    """
    data = read_toml(path, PlanError)
    blocks = data.get("block")
    for number, block in enumerate(blocks if isinstance(blocks, list) else (), 1):
        wanted = block.get("feedback") if isinstance(block, dict) else None
        if isinstance(wanted, str) and wanted not in FEEDBACKS:
            known = ", ".join(FEEDBACKS)
            raise PlanError(f"{path}: block {number}: no feedback {wanted!r}; there are {known}")
    return to_record(data, Plan, where=path, error=PlanError)


def shipped_plans() -> Mapping[str, Plan]:
    """Return the plans that ship, by name."""
    found = (load_plan(path) for path in sorted(SHIPPED.glob(f"*{SUFFIX}")))
    return {plan.name: plan for plan in found}


def plan_named(text: str) -> Plan:
    """Return the shipped plan of that name, or the one in that file.

    Raises:
        PlanError: There is neither.
    """
    shipped = shipped_plans()
    if text in shipped:
        return shipped[text]
    if text.endswith(SUFFIX):
        return load_plan(Path(text))
    raise PlanError(f"no plan {text!r}; there are {', '.join(shipped)}, or name a TOML file")


def faded_shows(block: Faded, repetition: int) -> bool:
    """Tell whether a repetition of a faded block has feedback.

    The shares of the repetitions so far are added up and rounded; each time another whole number
    is reached, there is feedback. No chance is in it: every trainee gets the same.

    Args:
        block: The block.
        repetition: From 1.
    """
    return _whole(block, repetition) > _whole(block, repetition - 1)


def _whole(block: Faded, count: int) -> int:
    """Return how many of the first *count* repetitions have feedback."""
    fall = (block.first_percent - block.last_percent) / max(1, block.repetitions - 1)
    total = count * block.first_percent - fall * count * (count - 1) / 2.0
    return math.floor(total / 100.0 + 0.5 + 1e-9)
