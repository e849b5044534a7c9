"""What can go wrong in analysis, for a stated reason.

AnalysisError
├── TargetError      a target file is missing, broken or makes no sense
├── NotAnalysable    the recording cannot support the analysis asked for
├── StudyError       the recordings together cannot support the study asked for
├── BadReference     a reference file is missing or broken
├── NotComparable    the recordings named cannot be put together, or not beside each other
└── ExportError      a trial does not fit into the format asked for, or the format's library is gone
"""

from __future__ import annotations


class AnalysisError(Exception):
    """Root of this folder's errors; its text is fit for people."""


class TargetError(AnalysisError):
    """A target file is missing, broken or makes no sense."""


class NotAnalysable(AnalysisError):
    """The recording cannot support the analysis asked for; the text says why."""


class StudyError(AnalysisError):
    """The recordings together cannot support the study asked for; the text says why."""


class BadReference(AnalysisError):
    """A reference file is missing or broken."""


class NotComparable(AnalysisError):
    """The recordings named cannot be put together, or not beside each other; the text says why."""


class ExportError(AnalysisError):
    """A trial does not fit into the format asked for, or the format's library is not installed."""
