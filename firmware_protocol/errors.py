"""What can go wrong on our own side of the wire; damage on the line is a value, not an error.

ProtocolError
└── ProtocolMisuse    we asked the protocol for something it does not allow
"""

from __future__ import annotations


class ProtocolError(Exception):
    """Root of this folder's errors."""


class ProtocolMisuse(ProtocolError):
    """Our own code said something its role may not say, or that does not fit the wire."""
