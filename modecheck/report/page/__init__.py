"""The page: one self-contained HTML file to read the verdict and to step through scenarios."""

from __future__ import annotations

from modecheck.report.page.document import page_as_html

__all__ = ["page_as_html"]
