"""Pictures of the screens around practice, from a virtual rig, without a screen."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path

from PySide6.QtTest import QTest

from analysis.target import Target
from ui.desktop.application import application_of_this_process, destroyed_here
from ui.desktop.guide import GuideWindow
from ui.desktop.screens_asking import WhoScreen
from ui.errors import UserError
from ui.live.flow import AT_HOME_S, Flow, Stage, Ways

STEP_MS, LONGEST_MS = 20, 60_000


def grab_guide(
    folder: Path, port: str, ways: Ways, *, person: str, size: tuple[int, int]
) -> tuple[Path, ...]:
    """Write a picture of each screen before practice; arguments as `grab_guide_pictures`."""
    application_of_this_process()
    made: list[Path] = []
    with tempfile.TemporaryDirectory() as out:
        flow = Flow(ways, out_dir=Path(out), target=Target())
        guide = GuideWindow(flow)
        with destroyed_here(guide):
            guide.resize(*size)
            guide.show()

            def picture(name: str) -> None:
                guide.refresh()
                made.append(folder / f"guide_{name}.png")
                guide.grab().save(str(made[-1]))

            try:
                _wait(lambda: not flow.doing)
                picture("choose")
                flow.choose(port)
                _wait(lambda: not flow.doing)
                flow.test()
                _wait(lambda: not flow.doing)
                picture("self_test")
                flow.open_line()
                _wait(lambda: not flow.doing)
                picture("zero")
                _wait(lambda: _after(flow.zero, flow, Stage.HOME))
                _wait(lambda: flow.home_age_s < AT_HOME_S)
                picture("home")
                _wait(lambda: _after(flow.confirm_home, flow, Stage.WHO))
                guide.refresh()
                asked = guide.screen_shown
                if isinstance(asked, WhoScreen):
                    asked.person.setText(person)
                picture("who")
            finally:
                guide.close()
    return tuple(made)


def _after(ask: Callable[[], None], flow: Flow, stage: Stage) -> bool:
    """Ask for a stage; return whether it is reached."""
    ask()
    return flow.stage is stage


def _wait(done: Callable[[], bool]) -> None:
    """Let the window live until something is so.

    Raises:
        UserError: It never is.
    """
    for _ in range(LONGEST_MS // STEP_MS):
        QTest.qWait(STEP_MS)
        if done():
            return
    raise UserError("the screens do not go on")
