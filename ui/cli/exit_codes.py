"""Exit codes of the command. Scripts rely on them, so they are part of its interface."""

from __future__ import annotations

DONE = 0
FAILED = 1
USAGE = 2
INCOMPLETE = 3
INTERRUPTED = 130

MEANINGS = {
    DONE: "done",
    FAILED: "failed for the reason told on stderr",
    USAGE: "wrong usage",
    INCOMPLETE: (
        "done but incomplete: samples were lost, a file of several was bad, or a part of a plan "
        "is missing"
    ),
    INTERRUPTED: "interrupted",
}
