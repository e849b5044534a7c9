"""Reports as functions of data, one self-contained HTML file each."""

from ui.report.trial_report import build_report

__all__ = ["build_report"]
