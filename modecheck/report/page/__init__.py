"""The page: one self-contained HTML file in which a reviewer reads, steps and walks."""

from __future__ import annotations

from modecheck.report.page.document import page_as_html

__all__ = ["page_as_html"]
