"""The page of a comparison: its report, and both charts side by side, in one self-contained file.

It has no script: its security policy (W3C Content Security Policy Level 3) allows its one style
sheet and no loading of anything.
"""

from __future__ import annotations

from modecheck.draw.stylesheet import stylesheet
from modecheck.report import document_tree as doc
from modecheck.report.compare_report import (
    changes_in_text,
    consequences,
    explored_in_words,
    title,
)
from modecheck.report.page.change_pictures import change_pictures
from modecheck.report.page.document import asset, digest, environment
from modecheck.report.trial_report import difference
from modecheck.review.device_comparison import DeviceComparison
from modecheck.version import __version__

KINDS_OF_VERDICT = {doc.GOOD: "clean", doc.OPEN: "open", doc.BAD: "found"}


def comparison_page(comparison: DeviceComparison) -> str:
    """The page; identical for identical models, bounds and version, seen from the same folder."""
    style = stylesheet() + asset("look.css") + asset("comparison.css")
    head = title(comparison)
    return environment().get_template("comparison.html").render(
        title=head,
        kind=KINDS_OF_VERDICT[head.tone],
        explored=explored_in_words(comparison),
        changes=changes_in_text(comparison),
        pairs=list(change_pictures(comparison)),
        old=comparison.old_origin.name,
        new=comparison.new_origin.name,
        findings=difference(comparison.findings),
        consequences=consequences(comparison),
        version=__version__,
        style=style,
        style_digest=digest(style),
    )  # fmt: skip
