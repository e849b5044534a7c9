"""From plugging in to the last repetition, stage by stage. No Qt here.

What takes time (asking ports, the self-test, opening the line, measuring what was recorded) is
done aside, one thing at a time; a screen looks on its own clock and asks for the next stage. A
stage that is not fulfilled says why and stays.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from enum import Enum
from pathlib import Path

from acquisition.recording.label import check_label
from acquisition.recording.model import TrialLabel
from acquisition.recording.reader import read_recording
from acquisition.rig import RigDescription
from acquisition.transports import transport_for
from analysis.pipeline import analyse
from analysis.target import Target
from analysis.trial import QualityFinding, Trial
from ui.errors import UserError
from ui.live.feed import LiveFeed
from ui.live.moment import Trainer
from ui.live.practice.run import practice_for

AT_HOME_S = 2.0
"""The arm rested at home no longer ago than this: home is known, and it is home now."""


class Stage(Enum):
    """A stage of a session, in the order they come."""

    CHOOSE = "choose the rig"
    SELF_TEST = "self-test"
    ZERO = "zero"
    HOME = "side and home"
    WHO = "who practises"
    PRACTICE = "practice"
    REVIEW = "review"


@dataclass(frozen=True, slots=True)
class Choice:
    """A place where a rig may be.

    Attributes:
        url: Of the port.
        words: What is there.
    """

    url: str
    words: str


VIRTUAL = (
    Choice("virtual:?trainee=T01&reps=0", "virtual rig, right shoulder, an invented trainee"),
    Choice("virtual:?trainee=T01&reps=0&side=left", "virtual rig, left shoulder"),
)
Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Ways:
    """How rigs are reached: the ways of the verbs ``ports``, ``rig`` and ``check``.

    Attributes:
        ports: Lists the ports here and asks who is there.
        rig_for: Gives the description of the rig on a port, from a file if one is named.
        check: Tests a rig and gives each finding as it comes; says meanwhile what to do, and
            stops with the error that its last argument raises.
    """

    ports: Callable[[], Sequence[Choice]]
    rig_for: Callable[[str, Path | None], RigDescription]
    check: Callable[[str, RigDescription, Target, Say], Iterator[QualityFinding]]


class _GaveUpError(UserError):
    """The window was closed while a test ran."""


class Flow:
    """Leads from one stage to the next.

    Args:
        ways: How rigs are reached.
        out_dir: Where recordings go.
        target: What is practised.
        label: What the first person's code, condition and note are proposed to be.
        plan: What plan is proposed, empty for none.
        prepare: Done with the trainer of every person.

    Attributes:
        stage: Where it stands.
        message: Why it does not go on, or what was done; empty if there is nothing to say.
        doing: What is being done aside, empty if nothing.
        choices: Where rigs may be.
        url: The port that was chosen.
        rig: The description of the rig there.
        findings: Of the self-test, so far.
        tested: The self-test is over.
        label: Who and what.
        plan: Name of the plan, empty to practise freely.
        trainer: Of the person who practises, None before the line is open.
        trial: What was recorded last, measured.
    """

    def __init__(
        self,
        ways: Ways,
        *,
        out_dir: Path,
        target: Target,
        label: TrialLabel = TrialLabel(),  # noqa: B008 - frozen
        plan: str = "",
        prepare: Callable[[Trainer], None] = lambda _: None,
    ) -> None:
        self._ways = ways
        self.out_dir, self._target, self._prepare = out_dir, target, prepare
        self.stage = Stage.CHOOSE
        self.message = self.doing = self.url = ""
        self.choices: tuple[Choice, ...] = VIRTUAL
        self.rig: RigDescription | None = None
        self.findings: tuple[QualityFinding, ...] = ()
        self.tested = False
        self.label, self.plan = label, plan
        self.trainer: Trainer | None = None
        self.trial: Trial | None = None
        self._feed: LiveFeed | None = None
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="flow")
        self._job: Future[None] | None = None
        self._closed = False
        self._giving_up = False

    @property
    def home_age_s(self) -> float:
        """Since the arm last rested at home; infinite before the first time, and in a silence."""
        state = None if self._feed is None else self._feed.state()
        return math.inf if state is None or state.silent else state.heading_age_s

    @property
    def recorded(self) -> Path | None:
        """What was recorded last on this line, saved and checked; None if nothing."""
        return None if self._feed is None else self._feed.saved

    def look(self) -> None:
        """Notice what has been done aside, and hear the rig; call it on every frame."""
        if self._job is not None and self._job.done():
            job, self._job, self.doing = self._job, None, ""
            error = job.exception()
            if error is not None:
                self.message = str(error)
            if self._giving_up:
                self._giving_up = False
                self.back()
        if self.trainer is not None and self.stage is not Stage.PRACTICE:
            self.trainer.refresh()
            state = self.trainer.feed.state()
            if state.trouble:
                self.message = state.message

    def find_ports(self) -> None:
        """Ask the ports of this machine who is there."""
        self._aside("asking the ports", self._find_ports)

    def choose(self, url: str, description: Path | None = None) -> None:
        """Take a port, and the rig's description from the rig itself or from a file."""
        self._aside("asking the rig for its description", lambda: self._choose(url, description))

    def test(self) -> None:
        """Test the rig: hands off, then a push."""
        self._aside("testing", self._test)

    def open_line(self) -> None:
        """Go on from the self-test: let the rig stream."""
        self._aside("opening the line", self._open)

    def zero(self) -> None:
        """Take the zero and go on, or say why there is none: a hand rests on it."""
        feed = self._streaming()
        refused = feed.zero()
        if refused:
            self.message = f"no zero: {refused}"
        else:
            self._to(Stage.HOME)

    def confirm_home(self) -> None:
        """Go on if the arm hangs at home now."""
        if self.home_age_s > AT_HOME_S:
            self.message = "home is not known yet: let the arm hang, still, for a second"
            return
        self._to(Stage.WHO)

    def begin(self, label: TrialLabel, plan: str) -> None:
        """Begin practice with a person, or say what is wrong with the code or the plan."""
        feed = self._streaming()
        try:
            feed.label = _with_code(label)
            trainer = Trainer(feed)
            if plan:
                trainer.practice = practice_for(plan, feed)
        except Exception as why:  # noqa: BLE001 - whatever it is, it is told and the stage stays
            self.message = str(why)
            return
        self._prepare(trainer)
        trainer.record_soon = True
        feed.forget_saved()
        self.label, self.plan, self.trainer, self.trial = label, plan, trainer, None
        self._to(Stage.PRACTICE)

    def end_practice(self) -> None:
        """Stop a recording that runs; go on to its review, to the next person if there is none."""
        feed = self._streaming()
        if self.trainer is not None and self.trainer.sound is not None:
            self.trainer.sound.turn_off()
        if feed.state().recording.path is not None:
            feed.toggle_recording()
        elif feed.saved is None:
            self.next_person()
            self.message = feed.failure  # names the file that is left of a recording
            return
        self._to(Stage.REVIEW)
        self._aside("saving and measuring what was recorded", self._measure)

    def practise_again(self) -> None:
        """Practise on, the same person with the same plan from its beginning."""
        if not self.doing:
            self.begin(self.label, self.plan)

    def next_person(self) -> None:
        """Ask who practises next; the line stays open."""
        if self._feed is not None and not self.doing:
            self.label = TrialLabel(condition=self.label.condition)
            self._to(Stage.WHO)

    def back(self) -> None:
        """Go back to choosing the rig, as long as nobody practises; a test is given up."""
        if self.stage is Stage.SELF_TEST and self.doing:
            self._giving_up = True
        elif self.stage in (Stage.SELF_TEST, Stage.ZERO, Stage.HOME, Stage.WHO) and not self.doing:
            self._let_go()
            self._to(Stage.CHOOSE)

    def forget_message(self) -> None:
        """Say no longer what was wrong: somebody is about to put it right."""
        self.message = ""

    def tell(self, text: str, *, trouble: bool = False) -> None:
        """Show a message, here and where somebody practises; from any thread."""
        self.message = text
        feed = self._feed
        if feed is not None:
            feed.tell(text, trouble=trouble)

    def close(self) -> None:
        """Stop everything and wait for it; twice is fine."""
        self._closed = True
        self._pool.shutdown(wait=True, cancel_futures=True)
        self._let_go()

    def _find_ports(self) -> None:
        self.choices = (*self._ways.ports(), *VIRTUAL)

    def _choose(self, url: str, description: Path | None) -> None:
        self.rig = self._ways.rig_for(url, description)
        self.url, self.findings, self.tested = url, (), False
        self._to(Stage.SELF_TEST)

    def _test(self) -> None:
        if self.rig is None:
            raise UserError("choose a rig first")
        self.findings, self.tested = (), False
        for finding in self._ways.check(self.url, self.rig, self._target, self._say):
            self.findings = (*self.findings, finding)
        self.tested, self.message = True, ""

    def _say(self, words: str) -> None:
        if self._closed or self._giving_up:
            raise _GaveUpError("given up")
        self.message = words

    def _open(self) -> None:
        if self.rig is None:
            raise UserError("choose a rig first")
        feed = LiveFeed(
            transport_for(self.url),
            rig=self.rig, target=self._target, out_dir=self.out_dir, label=TrialLabel(),
        )  # fmt: skip
        try:
            feed.open()
        except BaseException:
            feed.close()
            raise
        self._feed, self.trainer = feed, Trainer(feed)
        self._to(Stage.ZERO)

    def _measure(self) -> None:
        feed = self._streaming()
        feed.wait_for_recorder()
        if feed.saved is None:
            raise UserError(feed.failure or "nothing was recorded")
        self.trial = analyse(read_recording(feed.saved))

    def _aside(self, words: str, work: Callable[[], None]) -> None:
        """Do something aside; while something is done nothing else is begun."""
        if self._job is None and not self._closed:
            self.doing, self.message = words, ""
            self._job = self._pool.submit(work)

    def _streaming(self) -> LiveFeed:
        if self._feed is None:
            raise UserError("no rig is connected")
        return self._feed

    def _let_go(self) -> None:
        feed, self._feed, self.trainer = self._feed, None, None
        if feed is not None:
            feed.close()

    def _to(self, stage: Stage) -> None:
        self.stage, self.message = stage, ""


def _with_code(label: TrialLabel) -> TrialLabel:
    """Return a label that names a person and may stand in a file."""
    if not label.person:
        raise UserError("a code is needed: a letter and 2 to 4 digits, such as T07")
    return check_label(label)
