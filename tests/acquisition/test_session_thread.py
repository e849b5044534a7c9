from __future__ import annotations

from typing import Any

import pytest

from acquisition.clock import SystemClock
from acquisition.errors import PortError, RecordingError
from acquisition.session import LinkState, Session, SessionThread
from acquisition.transports.scripted import ScriptedTransport
from firmware_protocol.messages import Identity, StreamSpec

END_S = 10.0


@pytest.fixture
def make_session(identity: Identity, collector: Any) -> Any:
    def make(*script: Any, **options: Any) -> Session:
        clock = SystemClock()
        session = Session(ScriptedTransport(identity, script, clock=clock, **options), clock=clock)
        session.add_sink(collector)
        return session

    return make


def test_a_thread_runs_a_session_to_its_end(
    make_session: Any, collector: Any, make_raw: Any, force_spec: StreamSpec
) -> None:
    thread = SessionThread(make_session(make_raw(force_spec, 0)))
    thread.start()

    assert thread.wait(END_S)
    assert thread.error is None
    assert collector.numbers == [(0, 0)]
    assert collector.closed == ["complete"]


def test_closing_ends_an_endless_session_and_twice_is_fine(
    make_session: Any, collector: Any
) -> None:
    session = make_session(endless=True)
    thread = SessionThread(session)
    thread.start()

    thread.close()
    thread.close()

    assert session.state.ended
    assert thread.error is None
    assert collector.closed == ["complete"]


def test_closing_a_thread_that_never_began_closes_its_session(
    make_session: Any, collector: Any
) -> None:
    thread = SessionThread(make_session())

    thread.close()

    assert collector.closed == ["complete"]


def test_what_ends_the_session_is_kept_for_the_owner(make_session: Any) -> None:
    session = make_session(opens=[PortError("no permission")])
    thread = SessionThread(session)
    thread.start()

    assert thread.wait(END_S)
    assert isinstance(thread.error, PortError)
    assert session.state is LinkState.CLOSED


def test_a_sink_that_cannot_be_closed_is_an_error_too(
    make_session: Any, make_collector: Any
) -> None:
    class CannotClose(make_collector):  # type: ignore[misc] # the fixture's class
        def close(self, _status: str) -> None:
            raise RecordingError("the name was taken")

    session = make_session()
    session.add_sink(CannotClose(critical=True))
    thread = SessionThread(session)
    thread.start()

    assert thread.wait(END_S)
    assert isinstance(thread.error, RecordingError)
