"""Steps a session in a thread of its own."""

from __future__ import annotations

import threading
from typing import Protocol

from acquisition.errors import AcquisitionError
from acquisition.health import LinkState

JOIN_S = 10.0
"""Reads wait for milliseconds, a flush may wait for a slow disk."""


class Steps(Protocol):
    """What is stepped: a `acquisition.session.Session`."""

    @property
    def state(self) -> LinkState:
        """Where it stands."""
        ...

    def step(self) -> float:
        """Do one piece of work; return the seconds to wait."""
        ...

    def finish(self) -> None:
        """Ask for the end."""
        ...

    def close(self) -> None:
        """End now."""
        ...


class SessionThread:
    """Owns the thread that steps a session, from start to close.

    Args:
        session: Not stepped by anybody else from now on.

    Attributes:
        error: What ended the session, None if it ended well or still runs.
    """

    def __init__(self, session: Steps) -> None:
        self.error: Exception | None = None
        self._session = session
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="session", daemon=True)

    def start(self) -> None:
        """Begin to step."""
        self._thread.start()

    def wait(self, seconds: float) -> bool:
        """Wait for the session's end, at most *seconds*; tell whether it has come."""
        self._thread.join(seconds)
        return not self._thread.is_alive()

    def close(self) -> None:
        """End the session with status ``complete`` if it still runs; twice is fine."""
        self._session.finish()
        self._stop.set()
        if self._thread.ident is not None:
            self._thread.join(JOIN_S)
            if self._thread.is_alive():
                self.error = AcquisitionError(
                    f"the session did not end within {JOIN_S:g} s; is the disk stuck?"
                )
        else:
            self._session.close()

    def _run(self) -> None:
        try:
            while not self._session.state.ended:
                wait_s = self._session.step()
                if wait_s:
                    self._stop.wait(wait_s)
        except Exception as error:  # noqa: BLE001 - the top of a thread: kept for its owner
            self.error = error
        finally:
            self._close_session()

    def _close_session(self) -> None:
        try:
            self._session.close()
        except Exception as error:  # noqa: BLE001 - likewise
            self.error = self.error or error
