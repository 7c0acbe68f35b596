"""Writes a sketch as DOT: a pure function from data to text.

Sizes are fixed here, so that a layout depends on no font. Labels of arrows are boxes on the way
of their arrow: the layout keeps boxes apart, so no two labels can meet. The text can be drawn as
it stands by any program that reads DOT.
"""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from modecheck.draw.palette import BORDER, FILLS, FRAME_LINE, INK, LINE, STROKES, ground
from modecheck.draw.sketch import TEXT_SIZE, Arrow, Block, Box, End, Frame, Line, Run, Sketch, Table

UNITS_PER_INCH = 72
"""DOT measures boxes in inches and everything else in points; a unit of a sketch is a point."""

_BORDERED = {"state", "rest", "mode", "chip", "actor"}


def dot_text(sketch: Sketch) -> str:
    """The sketch in DOT; the same sketch gives the same text, always."""
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
    yield (
        "graph [rankdir=TB, compound=true, splines=polyline, nodesep=0.22, ranksep=0.24, "
        f'mclimit=4, fontname="Helvetica", fontsize={TEXT_SIZE}, labelloc=b, labeljust=l, '
        f"label={_html(_below(sketch), 'left')}]"
    )
    yield (
        f'node [fontname="Helvetica", fontsize={TEXT_SIZE}, fixedsize=true, '
        f'color="{BORDER.light}", fontcolor="{INK.light}"]'
    )
    yield f'edge [color="{LINE.light}", arrowsize=0.8, fontname="Helvetica"]'


def _below(sketch: Sketch) -> tuple[Block, ...]:
    title = Block((Line((Run(sketch.title, "trigger"),)),))
    legend = tuple(
        Line((Run(sample.sign, "trigger"), Run(sample.meaning, "note"))) for sample in sketch.samples
    )
    tables = (Block(tuple(_table_lines(table))) for table in sketch.tables)
    return tuple(block for block in (title, Block(legend), *tables) if block.lines)


def _table_lines(table: Table) -> Iterator[Line]:
    yield Line((Run(table.title, "trigger"),))
    for row in table.rows:
        yield Line(tuple(Run(cell, "note") for cell in row if cell))


def _inside(sketch: Sketch, frame: str) -> Iterator[str]:
    """Everything that stands directly in a frame, its frames included."""
    boxes = [box for box in sketch.every_box if box.frame == frame]
    for row, rank in (("top", "min"), ("bottom", "max")):
        yield from _row(rank, [box for box in boxes if box.row == row])
    loops = {arrow.label.key for arrow in sketch.arrows if arrow.loops and arrow.label}
    for box in boxes:
        if not box.row and box.key not in loops:
            yield _box(box)
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


def _frame(sketch: Sketch, frame: Frame) -> Iterator[str]:
    style = '"rounded,filled"' if frame.shape != "diagram" else '"filled"'
    peripheries = 2 if frame.shape == "rest" else 1
    fill = ground(_depth(sketch, frame)).light
    yield f"subgraph {quoted(f'cluster_{frame.key}')} {{"
    yield (
        f'  graph [style={style}, fillcolor="{fill}", color="{FRAME_LINE.light}", margin=12, '
        f'peripheries={peripheries}, label="", tooltip={quoted(frame.hint)}]'
    )
    yield from _indented(_inside(sketch, frame.key))
    yield from _indented(_below_header(sketch, frame))
    yield "}"


def _depth(sketch: Sketch, frame: Frame) -> int:
    parents = {each.key: each.parent for each in sketch.frames}
    depth = 0
    while parents[frame.key]:
        frame = next(each for each in sketch.frames if each.key == parents[frame.key])
        depth += 1
    return depth


def _below_header(sketch: Sketch, frame: Frame) -> Iterator[str]:
    """Keeps boxes that nothing leads to from standing beside the header of their frame."""
    led_to = {
        arrow.tail.box if arrow.course == "up" else arrow.head.box
        for arrow in sketch.arrows
        if not arrow.loops
    }
    for box in sketch.boxes:
        if box.frame == frame.key and not box.row and box.key not in led_to:
            yield f"{quoted(frame.header.key)} -> {quoted(box.key)} [style=invis, weight=0]"


def _box(box: Box) -> str:
    size = f"width={box.width / UNITS_PER_INCH:.4f}, height={box.height / UNITS_PER_INCH:.4f}"
    return f"{quoted(box.key)} [{size}, {_look(box)}{_tooltip(box.hint)}]"


def _look(box: Box) -> str:
    if box.shape == "port":
        return 'shape=point, style=invis, label=""'
    if box.shape == "start":
        return f'shape=circle, style=filled, fillcolor="{INK.light}", label=""'
    label = f"label={_html(box.blocks, 'left', ruled=box.shape in _BORDERED)}"
    if box.shape not in _BORDERED:
        return f"shape=box, color=none, {label}"
    style = "filled" if box.shape == "chip" else "rounded,filled"
    peripheries = ", peripheries=2" if box.shape == "rest" else ""
    fill = FILLS[box.shape].light
    return f'shape=box, style="{style}", fillcolor="{fill}"{peripheries}, {label}'


def _arrow(arrow: Arrow) -> Iterator[str]:
    if arrow.loops and arrow.label:
        yield f"{_line(arrow, arrow.tail, arrow.head, '1')[:-1]}, label={_sized(arrow.label)}]"
    elif arrow.label:
        middle = End(arrow.label.key)
        yield _line(arrow, arrow.tail, middle, "1")
        yield _line(arrow, middle, arrow.head, "2")
    else:
        yield _line(arrow, arrow.tail, arrow.head, "1")


def _line(arrow: Arrow, tail: End, head: End, part: str) -> str:
    stroke = STROKES[arrow.stroke]
    pointed = head == arrow.head and arrow.tip != "none"
    tip = {"arrow": "normal", "open": "vee", "none": "none"}[arrow.tip]
    attributes = [f'id="{arrow.key}.{part}"', f"style={stroke.dot_style}"]
    attributes.append(f"penwidth={stroke.width}")
    if runs_back(arrow, part):
        start, end = head, tail
        attributes.append(f"dir=back, arrowtail={tip}" if pointed else "dir=none")
    else:
        start, end = tail, head
        attributes.append(f"arrowhead={tip}" if pointed else "dir=none")
    if start.border == "outside":
        attributes.append(f"ltail={quoted(f'cluster_{start.frame}')}")
    if end.border == "outside":
        attributes.append(f"lhead={quoted(f'cluster_{end.frame}')}")
    hint = _tooltip(arrow.hint)
    return f"{quoted(start.box)} -> {quoted(end.box)} [{', '.join(attributes)}{hint}]"


def runs_back(arrow: Arrow, part: str) -> bool:
    """Whether a part of an arrow (1 before its label, 2 behind it) is written head first.

    The layout puts what is named first above what is named second.
    """
    return arrow.course == "up" or (arrow.course == "under" and part == "2")


def _tooltip(hint: str) -> str:
    return f", tooltip={quoted(hint)}" if hint else ""


def _html(blocks: tuple[Block, ...], side: str, *, ruled: bool = False) -> str:
    """A label of several blocks, one below the other."""
    rows = [_row_of(block, side) for block in blocks if block.lines]
    between = "<hr/>" if ruled else ""
    if not rows:
        return '""'
    table = '<table border="0" cellborder="0" cellspacing="0" cellpadding="1">'
    return f"<{table}{between.join(rows)}</table>>"


def _row_of(block: Block, side: str) -> str:
    align = "center" if block.centred else side
    lines = (f'{_words(line)}<br align="{align}"/>' for line in block.lines)
    return f'<tr><td align="{align}" balign="{align}">{"".join(lines)}</td></tr>'


def _words(line: Line) -> str:
    indent = "&#160;&#160;" if line.indent else ""
    return indent + " ".join(_word(run) for run in line.runs)


def _word(run: Run) -> str:
    text = escape(run.text, quote=False)
    return f"<b>{text}</b>" if run.strong else text


def _sized(label: Box) -> str:
    """The label of a loop: a table with a fixed size, for the layout to make room for."""
    size = f'fixedsize="true" width="{label.width:.0f}" height="{label.height:.0f}"'
    inner = _html(label.blocks, "left")[1:-1]
    return (
        f'<<table border="0" cellborder="0" cellspacing="0" cellpadding="0"><tr><td {size}>'
        f"{inner}</td></tr></table>>"
    )


def _indented(lines: Iterator[str]) -> Iterator[str]:
    return (f"  {line}" for line in lines)
