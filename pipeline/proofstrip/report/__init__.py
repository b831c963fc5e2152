"""The page that a grower reads: report.html and its pictures."""

from proofstrip.report.material import ReportMaterial
from proofstrip.report.page import write_report

__all__ = ["ReportMaterial", "write_report"]
