"""Sheets on paper: plans, worksheets and reports as PDF."""

from makerlab.paper.document import A4, LETTER, Document, page_size_for

__all__ = ["A4", "LETTER", "Document", "page_size_for"]
