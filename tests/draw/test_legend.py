"""What stands below a picture: the legend in lines, tables in columns."""

from __future__ import annotations

from modecheck.draw.legend import LEAST_ROWS, LEAST_WIDTH, below
from modecheck.draw.sketch import LegendEntry, Sketch, SketchTable
from tests.draw.reading_svg import Picture


def _drawn(sketch: Sketch, width: float = 100) -> tuple[Picture, float, float]:
    under = below(sketch, 0, 0, width)
    svg = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1000 1000">'
    return Picture(f"{svg}{under.drawn}</svg>"), under.width, under.height


def _sketch(samples: tuple[LegendEntry, ...] = (), tables: tuple[SketchTable, ...] = ()) -> Sketch:
    return Sketch("test", "test", (), (), (), samples, tables)


def test_a_legend_is_broken_into_lines() -> None:
    """Entries go on in the next line where the picture ends, and none is cut."""
    samples = tuple(LegendEntry("box", "state", f"entry number {number}") for number in range(9))
    picture, width, height = _drawn(_sketch(samples))
    assert width <= LEAST_WIDTH
    assert len({text.place.top for text in picture.texts}) == 3
    assert max(text.place.bottom for text in picture.texts) <= height


def test_a_table_stands_in_columns() -> None:
    """Cells of a column start at the same place, and long cells are wrapped without overlap."""
    rows = (("short", "one"), ("a_longer_name", "words " * 30), ("last", "two"))
    picture, width, height = _drawn(_sketch(tables=(SketchTable("title", rows),)))
    texts = picture.texts
    columns = {text.place.left for text in texts}
    assert len(columns) == 2
    for one in texts:
        for two in texts:
            assert one is two or one == two or not one.place.meets(two.place)
    assert max(text.place.right for text in texts) <= width + 0.1
    assert max(text.place.bottom for text in texts) <= height


def test_a_long_table_is_as_wide_as_the_picture() -> None:
    """Its rows go on in stacks beside each other, in order, none shorter than worth it."""
    rows = tuple((f"({number})", f"row {number} {'words ' * 9}") for number in range(20))
    table = _sketch(tables=(SketchTable("title", rows),))
    narrow, _, high = _drawn(table, LEAST_WIDTH)
    wide, width, low = _drawn(table, 2000)
    lefts = sorted({text.place.left for text in wide.texts if text.words.startswith("(")})
    assert len(lefts) == -(-len(rows) // LEAST_ROWS)
    assert low < high
    assert width <= 2000
    cells = [text for text in wide.texts if text.words.startswith("(")]
    cells.sort(key=lambda text: (text.place.left, text.place.top))
    assert [text.words for text in cells] == [number for number, _ in rows]
    assert narrow.words == wide.words


def test_nothing_to_say_takes_no_room() -> None:
    """A picture without legend and tables ends where it ends."""
    under = below(_sketch(), 0, 0, 100)
    assert (under.drawn, under.height) == ("", 0)
