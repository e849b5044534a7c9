"""What the commands and screens can fail at.

UserError    the request cannot be carried out; the text says what, where, and what to do
"""

from __future__ import annotations


class UserError(Exception):
    """The request cannot be carried out, for a reason fit for people."""
