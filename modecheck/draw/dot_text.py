"""Writes a sketch as DOT: a pure function from data to text.

Sizes are fixed here, so that a layout depends on no font. Labels of arrows are boxes on the path
of their arrow: the layout keeps boxes apart, so no two labels can overlap. Any program that reads
DOT can draw the text unchanged.
"""

from __future__ import annotations

from collections.abc import Iterator
from html import escape
from itertools import product

from modecheck.draw.palette import BORDER, FILLS, FRAME_LINE, INK, LINE, STROKES, ground
from modecheck.draw.shown import LONGEST_TITLE, shown
from modecheck.draw.sketch import (
    TEXT_SIZE,
    Arrow,
    ArrowPiece,
    Box,
    Run,
    Sketch,
    SketchFrame,
    SketchTable,
    TextBlock,
    TextLine,
)

UNITS_PER_INCH = 72
"""DOT measures boxes in inches and everything else in points; a unit of a sketch is a point."""

ROW_GAP = 0.2
FAN_GAP = 0.12
"""Inches between two rows, and what each line more that meets in a label adds to it."""

_BORDERED = {"state", "rest", "mode", "chip", "actor"}
_TIPS = {"arrow": "normal", "open": "vee"}
_LAID_OUT = _BORDERED | {"header", "label", "start", "port", "choice"}


def dot_text(sketch: Sketch) -> str:
    """The sketch in DOT; the same sketch always gives the same text."""
    lines = [
        f"digraph {quoted(sketch.name)} {{",
        *_indented(_defaults(sketch)),
        *_indented(_inside(sketch, "")),
        *_indented(line for arrow in sketch.arrows for line in _arrow(arrow)),
        "}",
    ]
    return "\n".join(lines) + "\n"


def quoted(text: str) -> str:
    """A DOT string; DOT escapes nothing but the quote, and backslashes by convention."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
    return f'"{escaped}"'


def _defaults(sketch: Sketch) -> Iterator[str]:
    fan = max((len(end) for each in sketch.arrows for end in (each.tails, each.heads)), default=1)
    between = ROW_GAP + FAN_GAP * max(fan - 2, 0)
    yield (
        f"graph [rankdir=TB, compound=true, splines=true, nodesep=0.19, ranksep={between:.2f}, "
        f'mclimit=4, fontname="Arial", fontsize={TEXT_SIZE}, labelloc=b, labeljust=l, '
        f"label={_html(_below(sketch), 'left')}]"
    )
    yield (
        f'node [fontname="Arial", fontsize={TEXT_SIZE}, fixedsize=true, '
        f'color="{BORDER.light}", fontcolor="{INK.light}"]'
    )
    yield f'edge [color="{LINE.light}", arrowsize=0.8, fontname="Arial"]'


def _below(sketch: Sketch) -> tuple[TextBlock, ...]:
    title = TextBlock((TextLine((Run(sketch.title, "trigger"),)),))
    legend = tuple(
        TextLine((Run(f"{sample.sign}:", "trigger"), Run(sample.meaning, "note")))
        for sample in sketch.samples
    )
    tables = (TextBlock(tuple(_table_lines(table))) for table in sketch.tables)
    return tuple(block for block in (title, TextBlock(legend), *tables) if block.lines)


def _table_lines(table: SketchTable) -> Iterator[TextLine]:
    yield TextLine((Run(table.title, "trigger"),))
    for row in table.rows:
        yield TextLine(tuple(Run(cell, "note") for cell in row if cell))


def _inside(sketch: Sketch, frame: str) -> Iterator[str]:
    """Everything that stands directly in a frame, its frames included."""
    boxes = [box for box in sketch.every_box if box.frame == frame and box.shape in _LAID_OUT]
    for row, rank in (("top", "min"), ("bottom", "max")):
        yield from _row(rank, [box for box in boxes if box.row == row])
    yield from (_box(box) for box in boxes if not box.row)
    for inner in sketch.frames:
        if inner.parent == frame:
            yield from _frame(sketch, inner)


def _row(rank: str, boxes: list[Box]) -> Iterator[str]:
    if not boxes:
        return
    yield "{"
    yield f"  rank={rank}"
    yield from (f"  {_box(box)}" for box in boxes)
    yield "}"
    if rank == "min" and len(boxes) > 1:
        chain = " -> ".join(quoted(box.key) for box in boxes)
        yield f"{chain} [style=invis]"


def _frame(sketch: Sketch, frame: SketchFrame) -> Iterator[str]:
    style = '"rounded,filled"' if frame.shape != "diagram" else '"filled"'
    peripheries = 2 if frame.shape == "rest" else 1
    fill = ground(_depth(sketch, frame)).light
    yield f"subgraph {quoted(f'cluster_{frame.key}')} {{"
    yield (
        f'  graph [style={style}, fillcolor="{fill}", color="{FRAME_LINE.light}", margin=12, '
        f"peripheries={peripheries}, label={_frame_label(frame)}, labelloc=t, labeljust=l, "
        f"tooltip={_said(frame.hint)}]"
    )
    yield from _indented(_inside(sketch, frame.key))
    yield from _indented(_below_top(sketch, frame))
    yield "}"


def _frame_label(frame: SketchFrame) -> str:
    """A diagram is named by the label of its frame; a composite state by a box inside."""
    if frame.header.shape != "tab":
        return '""'
    words = frame.words.blocks if frame.words else ()
    return _html((*frame.header.blocks, *words), "left", size=frame.heading)


def _depth(sketch: Sketch, frame: SketchFrame) -> int:
    parents = {each.key: each.parent for each in sketch.frames}
    depth = 0
    while parents[frame.key]:
        frame = next(each for each in sketch.frames if each.key == parents[frame.key])
        depth += 1
    return depth


def _below_top(sketch: Sketch, frame: SketchFrame) -> Iterator[str]:
    """Keeps inner frames from standing in the top row of a frame, where lines lead to its border;
    and boxes that nothing leads to, beside a header.
    """
    inside = [box for box in sketch.every_box if box.frame == frame.key]
    top = [box for box in inside if box.row == "top"]
    below = [inner.header for inner in sketch.frames if inner.parent == frame.key]
    if frame.header in top:
        led_to = {
            (stretch.tail if stretch.written_back else stretch.head).box
            for arrow in sketch.arrows
            for stretch in arrow.stretches
        }
        states = (box for box in inside if box.shape in _BORDERED)
        below += (box for box in states if box.key not in led_to)
    for first, box in product(top[:1], below):
        yield f"{quoted(first.key)} -> {quoted(box.key)} [style=invis, weight=0]"


def _box(box: Box) -> str:
    size = f"width={box.width / UNITS_PER_INCH:.4f}, height={box.height / UNITS_PER_INCH:.4f}"
    return f"{quoted(box.key)} [{size}, {_look(box)}{_tooltip(box.hint)}]"


def _look(box: Box) -> str:
    if box.shape == "port":
        return 'shape=point, style=invis, label=""'
    if box.shape == "start":
        return f'shape=circle, style=filled, fillcolor="{INK.light}", label=""'
    if box.shape == "choice":
        return f'shape=diamond, style=filled, fillcolor="{FILLS[box.shape].light}", label=""'
    label = f"label={_html(box.blocks, 'left', ruled=box.shape in _BORDERED)}"
    if box.shape not in _BORDERED:
        return f"shape=box, color=none, {label}"
    style = "filled" if box.shape == "chip" else "rounded,filled"
    peripheries = ", peripheries=2" if box.shape == "rest" else ""
    fill = FILLS[box.shape].light
    style += ",dashed" if box.unseen else ""
    return f'shape=box, style="{style}", fillcolor="{fill}"{peripheries}, {label}'


def _arrow(arrow: Arrow) -> Iterator[str]:
    for stretch in arrow.stretches:
        ends = [stretch.tail, stretch.head]
        attributes = list(_line_attributes(arrow, stretch))
        if stretch.written_back:
            ends.reverse()
        for end, name in zip(ends, ("ltail", "lhead"), strict=True):
            if end.border == "outside":
                attributes.append(f"{name}={quoted(f'cluster_{end.frame}')}")
        attributes.append(f"tooltip={_said(arrow.hint)}")
        yield f"{quoted(ends[0].box)} -> {quoted(ends[1].box)} [{', '.join(attributes)}]"


def _line_attributes(arrow: Arrow, stretch: ArrowPiece) -> Iterator[str]:
    stroke = STROKES[arrow.stroke]
    yield f"id={quoted(stretch.key)}"
    yield f"style={stroke.dot_style}"
    yield f"penwidth={stroke.width}"
    if arrow.label is None and stretch.head.border == "outside":
        yield "minlen=2"  # room for the tip: frames reach out of the row of their ports
    if not stretch.last or arrow.tip == "none":
        yield "dir=none"
    elif stretch.written_back:
        yield f"dir=back, arrowtail={_TIPS[arrow.tip]}"
    else:
        yield f"arrowhead={_TIPS[arrow.tip]}"


def _said(hint: str) -> str:
    return quoted(shown(hint, LONGEST_TITLE))


def _tooltip(hint: str) -> str:
    return f", tooltip={_said(hint)}" if hint else ""


def _html(
    blocks: tuple[TextBlock, ...],
    side: str,
    *,
    ruled: bool = False,
    size: tuple[float, float] | None = None,
) -> str:
    """A label of several blocks, one below the other; of a `size` in points, or as fonts need."""
    kept = [block for block in blocks if block.lines]
    if not kept:
        return '""'
    if len(kept) == 1 and size is None:
        end = f'<br align="{_side_of(kept[0], side)}"/>'
        return f"<{''.join(f'{_words(line)}{end}' for line in kept[0].lines)}>"
    rows = [_row_of(block, side) for block in kept]
    between = "<hr/>" if ruled else ""
    fixed = f' fixedsize="true" width="{size[0]:.0f}" height="{size[1]:.0f}"' if size else ""
    table = f'<table border="0" cellborder="0" cellspacing="0" cellpadding="1"{fixed}>'
    return f"<{table}{between.join(rows)}</table>>"


def _row_of(block: TextBlock, side: str) -> str:
    align = _side_of(block, side)
    lines = "".join(f"{_words(line)}<br/>" for line in block.lines)
    return f'<tr><td align="{align}" balign="{align}">{lines}</td></tr>'


def _side_of(block: TextBlock, side: str) -> str:
    return "center" if block.centred else side


def _words(line: TextLine) -> str:
    indent = "    " if line.indent else ""
    return indent + " ".join(_word(run) for run in line.runs)


def _word(run: Run) -> str:
    text = escape(run.text, quote=False)
    if run.face == "remark":
        return f"<i>{text}</i>"
    return f"<b>{text}</b>" if run.strong else text


def _indented(lines: Iterator[str]) -> Iterator[str]:
    return (f"  {line}" for line in lines)
