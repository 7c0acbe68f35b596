"""What a page shows besides the blocks of the document tree: sections, pictures, and scenarios that
a reader can step through.
"""

from __future__ import annotations

from dataclasses import dataclass

from modecheck.report import document_tree as doc
from modecheck.report.page.pictures import Picture


@dataclass(frozen=True, slots=True)
class PageSection:
    """A section with its entry in the contents. One that only works with scripts is `scripted`."""

    anchor: str
    heading: str
    blocks: tuple[doc.Block, ...]
    count: int | None = None
    scripted: bool = False


@dataclass(frozen=True, slots=True)
class ShownPicture(doc.PageOnly):
    """A picture, under a heading if it has one."""

    picture: Picture
    label: str
    heading: str = ""


@dataclass(frozen=True, slots=True)
class PicturePair(doc.PageOnly):
    """The same picture of two devices, each under its heading."""

    old: ShownPicture
    new: ShownPicture


@dataclass(frozen=True, slots=True)
class Playable(doc.PageOnly):
    """A scenario; `number` is that of the scripts' scenario.

    The first `begin` steps lead to where it begins; `chart` is its sequence chart. It `stays` if no
    further step has to happen at its end.
    """

    number: int
    title: str
    steps: doc.Steps
    begin: int
    stays: bool
    chart: str


@dataclass(frozen=True, slots=True)
class WalkStart(doc.PageOnly):
    """A button that starts a walk through the variant with a number."""

    number: int
    variant: str
