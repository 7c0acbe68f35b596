"""What a picture shows, before it is laid out: boxes, frames around them, arrows, a legend.

A sketch is plain data. `dot_text` writes it as DOT, `layout` finds a place for everything, and
`svg_text` draws it; the sizes of boxes follow from their words alone.
"""

from __future__ import annotations

from dataclasses import dataclass

from modecheck.draw.lettering import WIDEST_FACE, is_measured, text_width
from modecheck.draw.shown import LONGEST_NAME, LONGEST_WORDS, shown

NAME_SIZE = 12.5
TEXT_SIZE = 10.5
"""Sizes of names and of all other text, in units of which 96 make an inch on paper."""

NAME_LINE = 17.0
TEXT_LINE = 12.5
"""Distance from baseline to baseline."""

HEADING_GAP = 5.0
"""Between a diagram's tab and the words below it."""

INDENT = 9.0
"""How far the lines that go on with a label stand to the right of its first line."""


@dataclass(frozen=True, slots=True)
class Run:
    """Letters set alike. `face` is "name", "trigger", "guard", "effect", "note" or "remark"."""

    text: str
    face: str

    def __post_init__(self) -> None:
        """Whatever a model says, a picture shows it as text, and not without end."""
        longest = LONGEST_NAME if self.face == "name" else LONGEST_WORDS
        object.__setattr__(self, "text", shown(self.text, longest))

    @property
    def size(self) -> float:
        return NAME_SIZE if self.face == "name" else TEXT_SIZE

    @property
    def strong(self) -> bool:
        return self.face in ("name", "trigger")

    @property
    def width(self) -> float:
        return text_width(self.text, self.size, strong=self.strong)


@dataclass(frozen=True, slots=True)
class TextLine:
    """One line of text: runs with a space between them."""

    runs: tuple[Run, ...]
    indent: float = 0.0

    @property
    def text(self) -> str:
        return " ".join(run.text for run in self.runs)

    @property
    def width(self) -> float:
        """The width that viewers are told to set, or room for any face where it is not known."""
        spaces = (text_width(" ", run.size, strong=run.strong) for run in self.runs[1:])
        width = sum(run.width for run in self.runs) + sum(spaces)
        return self.indent + width * (1 if is_measured(self.text) else WIDEST_FACE)

    @property
    def height(self) -> float:
        return max((NAME_LINE if run.face == "name" else TEXT_LINE for run in self.runs), default=0)


@dataclass(frozen=True, slots=True)
class TextBlock:
    """Lines that belong together; the blocks of a box are separated by a thin line or a gap."""

    lines: tuple[TextLine, ...]
    centred: bool = False

    @property
    def width(self) -> float:
        return max((line.width for line in self.lines), default=0)

    @property
    def height(self) -> float:
        return sum(line.height for line in self.lines)


@dataclass(frozen=True, slots=True)
class Shape:
    """How a kind of box is measured: room beside and above its words, and between its blocks."""

    beside: float
    above: float
    between: float
    least_width: float = 0.0
    least_height: float = 0.0


SHAPES = {
    "state": Shape(11, 6, 7, 64, 30),
    "rest": Shape(14, 9, 7, 70, 36),
    "mode": Shape(16, 9, 6, 90, 40),
    "chip": Shape(16, 9, 4, 96, 44),
    "actor": Shape(28, 9, 4, 96, 48),
    "header": Shape(4, 2, 5),
    "tab": Shape(9, 3, 0),
    "words": Shape(9, 1, 5),
    "label": Shape(4, 2, 4),
    "start": Shape(5.5, 5.5, 0),
    "choice": Shape(0, 0, 0, 22, 22),
    "port": Shape(3, 3, 0),
}
"""Every kind of box. A tab names a diagram, a header a composite state; a port is the unseen end
of an arrow at the border of a frame."""


@dataclass(frozen=True, slots=True)
class Box:
    """Something with a place of its own. `frame` names the frame around it, "" for none.

    `row` is "top" or "bottom" for boxes at that border of their frame.
    `hint` becomes the box's title, which viewers show where the pointer rests. `state` is the
    state that it stands for, `rules` are the titles of the rules whose words it bears. An
    `unseen` one has a dashed outline. A `mark` is one more class of its group, for a style sheet.
    """

    key: str
    shape: str
    frame: str
    blocks: tuple[TextBlock, ...] = ()
    row: str = ""
    hint: str = ""
    state: str = ""
    rules: tuple[str, ...] = ()
    unseen: bool = False
    mark: str = ""

    @property
    def width(self) -> float:
        shape = SHAPES[self.shape]
        words = max((block.width for block in self.blocks), default=0)
        return round(max(words + 2 * shape.beside, shape.least_width), 1)

    @property
    def height(self) -> float:
        shape = SHAPES[self.shape]
        words = sum(block.height for block in self.blocks)
        gaps = shape.between * max(len(self.blocks) - 1, 0)
        return round(max(words + gaps + 2 * shape.above, shape.least_height), 1)


@dataclass(frozen=True, slots=True)
class End:
    """Where an arrow ends: at a box, or at the border of the frame in which that box is a port.

    `border` is "" for a box, "inside" or "outside" for a border reached from there.
    """

    box: str
    border: str = ""
    frame: str = ""


@dataclass(frozen=True, slots=True)
class ArrowPiece:
    """A line of an arrow: from a tail to its label, from there to its head, or all the way.

    `key` names it in DOT. A `written_back` stretch is reversed in DOT, since the layout puts what
    is named first above. The `last` stretch has the tip.
    """

    key: str
    tail: End
    head: End
    written_back: bool
    last: bool


@dataclass(frozen=True, slots=True)
class Arrow:
    """Lines from one or more tails to one or more heads, through a label if there is one.

    `stroke` is a key of the palette's strokes, `tip` is "arrow", "open" or "none". `course` says
    where the heads stand: "down" below the tails, "up" above them; or abreast of them, and the
    label "under" or "over" both. `rules` are the titles of the rules that it stands for; `mark` as
    in `Box`.
    """

    key: str
    tails: tuple[End, ...]
    heads: tuple[End, ...]
    label: Box | None
    stroke: str = "move"
    tip: str = "arrow"
    course: str = "down"
    hint: str = ""
    rules: tuple[str, ...] = ()
    mark: str = ""

    @property
    def stretches(self) -> tuple[ArrowPiece, ...]:
        """The lines, those from the tails first; without a label, one from tail to head."""
        to_label, to_head = self.course in ("up", "over"), self.course in ("up", "under")
        if self.label is None:
            return (ArrowPiece(f"{self.key}.1", self.tails[0], self.heads[0], to_label, last=True),)
        middle = End(self.label.key)
        first = (
            ArrowPiece(f"{self.key}.{number}", tail, middle, to_label, last=False)
            for number, tail in enumerate(self.tails, start=1)
        )
        then = (
            ArrowPiece(f"{self.key}.head-{number}", middle, head, to_head, last=True)
            for number, head in enumerate(self.heads, start=1)
        )
        return (*first, *then)


@dataclass(frozen=True, slots=True)
class SketchFrame:
    """A border around boxes and other frames. `shape` is "composite", "rest" or "diagram".

    The diagram's frame is the outermost one. Its header is the tab in its corner (UML 2.5.1,
    annex A), and its `words` tell what holds for all of it. `state`, `unseen` and `mark` as
    in `Box`.
    """

    key: str
    parent: str
    shape: str
    header: Box
    hint: str = ""
    words: Box | None = None
    state: str = ""
    unseen: bool = False
    mark: str = ""

    @property
    def heading(self) -> tuple[float, float]:
        """The width and height of a header, with the words below it."""
        width, height = self.header.width, self.header.height
        if self.words is None:
            return width, height
        return max(width, self.words.width), height + self.words.height + HEADING_GAP


@dataclass(frozen=True, slots=True)
class LegendEntry:
    """An entry of the legend: a sign from the picture, and what it means.

    `kind` is "box" or "line", and `sign` the kind of box or stroke; or "words" or "remark", and
    `sign` is shown unchanged.
    """

    kind: str
    sign: str
    meaning: str


@dataclass(frozen=True, slots=True)
class SketchTable:
    """Rows of cells, shown below the picture; the first cell of a row names what it is about.

    `longest` is how many characters a line in a cell may have.
    """

    title: str
    rows: tuple[tuple[str, ...], ...]
    longest: int = 44


@dataclass(frozen=True, slots=True)
class Sketch:
    """A whole picture, with its legend and its tables below it. Outer frames before inner ones."""

    name: str
    title: str
    boxes: tuple[Box, ...]
    arrows: tuple[Arrow, ...]
    frames: tuple[SketchFrame, ...]
    samples: tuple[LegendEntry, ...] = ()
    tables: tuple[SketchTable, ...] = ()

    @property
    def every_box(self) -> tuple[Box, ...]:
        """The boxes, the headers and words of frames, and the labels of arrows."""
        headers = tuple(frame.header for frame in self.frames)
        words = tuple(frame.words for frame in self.frames if frame.words)
        labels = tuple(arrow.label for arrow in self.arrows if arrow.label)
        return (*headers, *words, *self.boxes, *labels)

    @property
    def obstacles(self) -> tuple[str, ...]:
        """The keys of all boxes that no line may pass over."""
        return tuple(
            box.key for box in self.every_box if box.shape not in ("port", "start", "choice")
        )


def diagram_frame(
    key: str,
    title: str,
    words: tuple[TextBlock, ...],
    hint: str,
    *,
    rules: tuple[str, ...] = (),
) -> SketchFrame:
    """The outermost frame of a picture, with its tab and words, which include `rules`."""
    name = TextBlock((TextLine((Run(title, "name"),)),))
    tab = Box(f"{key}/tab", "tab", key, (name,))
    said = tuple(block for block in words if block.lines)
    told = Box(f"{key}/words", "words", key, said, rules=rules) if said else None
    return SketchFrame(key, "", "diagram", tab, hint, told)
