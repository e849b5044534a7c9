"""The instructor's checklist of an assessment: what no sensor sees, ticked by a person.

A checklist is a TOML file. Its answers stand in the same file once it is filled in, or come from
the instructor's view; what was not answered stays open and is never taken for a yes.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import msgspec
from msgspec import Meta

from acquisition.toml_records import read_toml, to_record
from ui.errors import UserError

SAMPLE = Path(__file__).with_name("checklists") / "standard.toml"
Line = Annotated[str, Meta(min_length=1, max_length=120)]
Code = Annotated[str, Meta(pattern=r"^[a-z][a-z0-9_]{0,39}$")]

EXAMINER = re.compile(r"^([A-Z][0-9]{2,4})?$")


class ChecklistError(UserError):
    """A checklist is missing, broken or makes no sense."""


class Tick(StrEnum):
    """How an item was answered."""

    YES = "yes"
    NO = "no"
    OPEN = "open"


TICK_SIGNS = {Tick.YES: "☑", Tick.NO: "☒", Tick.OPEN: "☐"}
"""A sign for each answer; the word stands beside it."""


class Item(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One thing to look at.

    Attributes:
        key: Stable name.
        text: What is to be seen, for people.
        tick: The answer.
        remark: The instructor's, may be empty.
    """

    key: Code
    text: Line
    tick: Tick = Tick.OPEN
    remark: Annotated[str, Meta(max_length=200)] = ""


class Checklist(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A checklist, filled in or not.

    Attributes:
        name: Stable.
        title: For people.
        item: What is looked at, in order.
        examiner: Code of the instructor, such as ``E02``; never a name.
    """

    name: Code
    title: Line
    item: Annotated[tuple[Item, ...], Meta(min_length=1, max_length=40)]
    examiner: Annotated[str, Meta(pattern=EXAMINER.pattern)] = ""

    def __post_init__(self) -> None:
        keys = [item.key for item in self.item]
        twice = sorted({key for key in keys if keys.count(key) > 1})
        if twice:
            raise ValueError(f"key '{twice[0]}' stands for two items")

    @property
    def items(self) -> tuple[Item, ...]:
        """What is looked at, in order."""
        return self.item

    def ticked(self, ticks: Mapping[str, Tick], examiner: str = "") -> Checklist:
        """Return the checklist with answers filled in.

        Args:
            ticks: By key.
            examiner: Code of the instructor; empty keeps the one that is there.

        Raises:
            ChecklistError: A key is none of this checklist's, or the code is none.
        """
        known = [item.key for item in self.item]
        for key in ticks:
            if key not in known:
                raise ChecklistError(f"no item {key!r}; there are {', '.join(known)}")
        items = tuple(
            msgspec.structs.replace(item, tick=ticks.get(item.key, item.tick)) for item in self.item
        )
        changed = msgspec.structs.replace(self, item=items, examiner=examiner or self.examiner)
        if not EXAMINER.fullmatch(changed.examiner):
            raise ChecklistError(f"examiner {examiner!r}: give a code such as E02, never a name")
        return changed

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON."""
        plain: dict[str, Any] = msgspec.to_builtins(self)
        return plain


def load_checklist(path: Path | None = None) -> Checklist:
    """Read a checklist; None is the sample that ships.

    Raises:
        ChecklistError: It is missing or broken, or a key is wrong; one line says which.
    """
    where = path or SAMPLE
    return to_record(read_toml(where, ChecklistError), Checklist, where=where, error=ChecklistError)
