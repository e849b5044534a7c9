"""What can go wrong in analysis, for a stated reason.

AnalysisError
├── TargetError      a target file is missing, broken or makes no sense
└── NotAnalysable    the recording cannot support the analysis asked for
"""

from __future__ import annotations


class AnalysisError(Exception):
    """Root of this folder's errors; its text is fit for people."""


class TargetError(AnalysisError):
    """A target file is missing, broken or makes no sense."""


class NotAnalysable(AnalysisError):
    """The recording cannot support the analysis asked for; the text says why."""
