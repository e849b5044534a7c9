"""Everything that can go wrong below analysis, for a stated reason.

    AcquisitionError
    ├── DescriptionError      a rig description is missing, broken or contradicts the rig
    ├── PortError             a port cannot be opened, or its URL makes no sense
    ├── TransportLost         the far end is gone (also a ConnectionError)
    ├── RigError              something answers, but not as a rig we can use
    │   └── RigRefuses        a rig of ours says no to one command
    └── RecordingError        a recording cannot be written, read or trusted

Every message says what, where, and what to do.
"""

from __future__ import annotations


class AcquisitionError(Exception):
    """Root of this folder's errors; its text is fit for people."""


class DescriptionError(AcquisitionError):
    """A rig description is missing, broken, or contradicts the rig on the wire."""


class PortError(AcquisitionError):
    """A port cannot be opened: not there, no permission, in use, or a bad URL."""


class TransportLost(AcquisitionError, ConnectionError):
    """The far end went away while the port was open."""


class RigError(AcquisitionError):
    """Something answers, but it is not a rig this program can use."""


class RigRefuses(RigError):
    """The rig is there and well, and does not do what it was told."""


class RecordingError(AcquisitionError):
    """A recording cannot be written, read or trusted."""
