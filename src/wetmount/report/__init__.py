"""A weighed case as a document to print, a page, or a message to paste; all three say the same."""

from wetmount.report.compose import compose
from wetmount.report.write import write_report

__all__ = ["compose", "write_report"]
