"""Progress on stderr for anything that takes longer than a second, if somebody looks."""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator, Sequence
from contextlib import contextmanager
from typing import TypeVar

from rich.console import Console
from rich.progress import (
    BarColumn,
    MofNCompleteColumn,
    Progress,
    ProgressColumn,
    SpinnerColumn,
    TextColumn,
)

Item = TypeVar("Item")


@contextmanager
def shown(*columns: ProgressColumn) -> Iterator[Progress | None]:
    """Give a progress line made of *columns*, None if stderr is no terminal.

    It must not be redirected: what is printed meanwhile is a result and belongs on stdout.
    """
    console = Console(stderr=True, highlight=False)
    if not console.is_terminal:
        yield None
        return
    with Progress(*columns, console=console, transient=True, redirect_stdout=False) as progress:
        yield progress


def tracked(items: Sequence[Item], what: str) -> Generator[Item, None, None]:
    """Yield items one by one under a progress bar."""
    if len(items) == 1:
        with working(what):
            yield items[0]
        return
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    with shown(*columns) as progress:
        yield from items if progress is None else progress.track(items, description=what)


@contextmanager
def working(what: str) -> Iterator[None]:
    """Show a turning sign while something of unknown length runs."""
    with shown(SpinnerColumn(), TextColumn("{task.description}")) as progress:
        if progress is not None:
            progress.add_task(what, total=None)
        yield


@contextmanager
def counted(total: int, what: str) -> Iterator[Callable[[], None]]:
    """Give what is called for each of *total* items done, in whatever order."""
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    with shown(*columns) as progress:
        if progress is None:
            yield lambda: None
            return
        task = progress.add_task(what, total=total)
        yield lambda: progress.advance(task)
