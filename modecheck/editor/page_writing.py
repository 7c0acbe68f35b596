"""Write the page of a device while it is edited, for who wants to see a scenario step by step.

It runs in a process of its own, as a check does: `python -m modecheck.editor.page_writing`.
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
from pathlib import Path
from urllib.parse import quote

from modecheck.editor.ending import end_with_parent


def write_page(path: str, texts: dict[str, str], states: int, seconds: float) -> str:
    """Check a device and write its page to the folder for temporary files; the page's path. Raises
    `InvalidInput`.
    """
    from modecheck.checks.verdict import check
    from modecheck.engine.choice import Search
    from modecheck.engine.contract.space import Limits
    from modecheck.model.devices import read_device
    from modecheck.model.text_files import HeldTexts, instead_of_files
    from modecheck.report.page import page_as_html
    from modecheck.report.whole_files import write_whole

    with instead_of_files(HeldTexts(texts)):
        device = read_device(path)
    limits = Limits(states=states, seconds=seconds).from_now()
    verdict = check([device], search=Search(limits=limits, threads=1))
    folder = tempfile.mkdtemp(prefix="modecheck-page-")
    name = os.path.join(folder, "page.html")
    write_whole(name, page_as_html(verdict))
    return name


def address_of(page: str, finding: str) -> str:
    """The address of a page at one of its findings."""
    return f"{Path(page).as_uri()}#{quote('_'.join(finding.split()))}"


def main(parent: int) -> int:
    """Answer one request of a process: write the page's path to standard output."""
    end_with_parent(parent)
    request = json.load(sys.stdin)
    sys.stdout.write(json.dumps(write_page(**request)))
    return 0


if __name__ == "__main__":
    sys.exit(main(os.getppid()))
