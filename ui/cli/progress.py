"""Progress on stderr for anything that takes longer than a second."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TypeVar

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, SpinnerColumn, TextColumn

Item = TypeVar("Item")


def talk() -> Console:
    """Return the console for talk: results go elsewhere."""
    return Console(stderr=True, highlight=False)


def tracked(items: Sequence[Item], what: str) -> Iterator[Item]:
    """Yield items one by one under a progress bar, if there are several and somebody looks."""
    console = talk()
    if len(items) < 2 or not console.is_terminal:
        yield from items
        return
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    with Progress(*columns, console=console, transient=True) as progress:
        yield from progress.track(items, description=what)


@contextmanager
def working(what: str) -> Iterator[None]:
    """Show a turning sign while something of unknown length runs, if somebody looks."""
    console = talk()
    if not console.is_terminal:
        yield
        return
    columns = (SpinnerColumn(), TextColumn("{task.description}"))
    with Progress(*columns, console=console, transient=True) as progress:
        progress.add_task(what, total=None)
        yield
