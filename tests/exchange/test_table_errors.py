"""Tables that are wrong: every error at its place, all of them together, nothing written."""

from __future__ import annotations

from pathlib import Path

import pytest

from modecheck.exchange.table_cells import MOST_CELLS
from modecheck.exchange.table_reading import read_table
from modecheck.model.errors import InvalidInput
from tests.cli.running import run

HEAD = "variable,n,0 to 3\ntimer,nap,20 ms\n"
COLUMNS = "state,event,condition,action,next\n"


def rows(*lines: str, columns: str = COLUMNS) -> str:
    """A table with these rows from line 4 on; there are states `on` and `off`."""
    return HEAD + columns + "".join(f"{line}\n" for line in lines) + "on\noff\n"


WRONG = [
    # The file
    ("", "", "'t.csv' is empty | a line 'state, event"),
    ("hello\n", "1 hello", "no line names the columns of the table"),
    ('state,go\n"on,off\n', '2 "on,off', "not well-formed CSV"),
    ('state,go\nx,"a"b\n', '2 x,"a"b', "not well-formed CSV | quotes around a whole cell"),
    ("state,go\n\x00\n", "2 \x00", "control character | CSV text"),
    ("state,go\n", "1 state", "a table without states"),
    # Lines above the table
    (f"chyp,a\n{COLUMNS}on", "1 chyp", "unknown line 'chyp' above | did you mean 'chip'?"),
    (f"chip,\n{COLUMNS}on", "1 chip", "'chip' says nothing"),
    (f"chip,a\nchip,b\n{COLUMNS}on", "2 chip", "a second line 'chip' | in line 1"),
    (f"chip,in\n{COLUMNS}on", "1 in", "'in' is not a name"),
    (f"variable,n,0 bis 3\n{COLUMNS}on", "1 0 bis 3", "what 'n' holds is not said | 0 to 9, bool"),
    (f"variable,n,3 to 0\n{COLUMNS}on", "1 3 to 0", "what 'n' holds is not said"),
    (f"variable,n,0 to 3,4\n{COLUMNS}on", "1 4", "'4' cannot be a first value | from 0 to 3"),
    (f"variable,n,0 to 3 list 999\n{COLUMNS}on", "1 0 to 3 list 999", "a list of 999 values"),
    (f"timer,t,20\n{COLUMNS}on", "1 20", "'20' is not a duration | 20 ms"),
    (f"rest,of\n{COLUMNS}off", "1 of", "unknown state 'of' | did you mean 'off'?"),
    (f"inside,a,b\ninside,b,a\n{COLUMNS}on", "2 a", "without an end"),
    (f"inside,a,b\ninside,c,b\n{COLUMNS}on", "2 b", "'b' is inside of 'a' and of this state"),
    (f"masks,x\n{COLUMNS}on", "1 masks", "'masks' of no state"),
    (f"priority,high\n{COLUMNS}on", "1 high", "'high' is not a priority"),
    # Columns and rows
    (rows(columns="state,event,nxt,next\n"), "3 nxt", "unknown column 'nxt' | mean 'next'?"),
    (rows(columns="state,event,next,next\n"), "3 next", "a second column 'next'"),
    (rows("on,go,,,of"), "4 of", "unknown state 'of' | did you mean 'off'?"),
    (rows("o-n,go,,,off"), "4 o-n", "'o-n' is not a name of a state"),
    (rows("on,go there,,,off"), "4 go there", "'go there' is not an event"),
    (rows("on,after 2,,,off"), "4 2", "'2' is not a duration"),
    (rows("on,expires nip,,,off"), "4 nip", "unknown timer 'nip' | 'nap'"),
    (rows("on,go,n < ,,off"), "4 ", "the expression is incomplete"),
    (rows("on,go,n <> 1,,off"), "4 >", "unexpected '>'"),
    (rows('on,go,,"n += 1; m = 2",off'), "4 m", "unknown variable 'm' | 'n'"),
    (rows('on,go,,"signal s; n = 2",off'), "4 n = 2", "an assignment after something else"),
    (rows("on,go,,send,off"), "4 send", "'send' is not an action | send hello via up"),
    (rows("on,go,,send hello over up,off"), "4 over", "unexpected 'over'"),
    (rows("on,go,,start nip,off"), "4 nip", "unknown timer 'nip'"),
    (rows("on,,,,"), None, ""),
    (rows("on,,n > 1,,"), "4 on", "a row that does nothing"),
    (rows("on,go,n > 1,,discarded"), "4 n > 1", "a condition | nothing in this column"),
    (rows("on,,,,deferred"), "4 deferred", "'deferred' without an event"),
    (rows("on,go,,,off,more"), "4 more", "a cell without a column"),
    (rows("a b,on,go,off", columns="rule,state,event,next\n"), "4 a b", "not a name of a rule"),
    (
        rows("r,on,go,off", "r,off,go,on", columns="rule,state,event,next\n"),
        "5 r",
        "the rule 'r' is named twice, first in line 4",
    ),
    (
        rows("on,go,off,wek", columns="state,event,next,fair\n"),
        "4 wek",
        "unknown word 'wek' | did you mean 'weak'?",
    ),
    # A matrix
    (rows("on,of", columns="state,go\n"), "4 of", "unknown state 'of' | did you mean 'off'?"),
    (rows("on,[n > 1 off", columns="state,go\n"), "4 [n > 1 off", "without its last bracket"),
    (rows("on,off / m = 1", columns="state,go\n"), "4 m", "unknown variable 'm'"),
    (rows("on,discarded / n = 1", columns="state,go\n"), "4 discarded / n = 1", "and more"),
    (rows("on,,off", columns="state,go\n"), "4 off", "a cell without an event"),
    (rows("on,[n > 1]", columns="state,-\n"), "4 [n > 1]", "a cell that does nothing"),
    (rows('on,"[n > 1] off\n[n > x y] off"', columns="state,go\n"), "5 y", "unexpected 'y'"),
    # Several chips
    ("chip,state,go\na,on,\nb,on,\n", "1 chip", "a table of several chips | one of a, b"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "where", "said"), WRONG)
def test_an_error_names_its_place(
    text: str, where: str | None, said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Line, what is marked there, the message, and what was expected or is nearest."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "t.csv").write_text(text, encoding="utf-8", newline="")
    if where is None:
        read_table("t.csv")
        return
    with pytest.raises(InvalidInput) as found:
        read_table("t.csv")
    told = [" ".join(str(one).split()) for one in found.value.errors]
    message, _, expected = said.partition(" | ")
    fitting = [
        error
        for error, text in zip(found.value.errors, told, strict=True)
        if message in text and expected in text
    ]
    assert fitting, told
    if where:
        line, _, marked = where.partition(" ")
        places = [one.place for one in fitting if one.place is not None]
        assert int(line) in [one.line for one in places]
        assert marked in [one.text[one.column - 1 :][: one.width] for one in places] or not marked


def test_all_errors_are_told_together_and_nothing_is_written(tmp_path: Path) -> None:
    """In the order of the file, with the line and the mark under the word; exit code 2."""
    (tmp_path / "t.csv").write_text(rows("on,go,n < ,,of", "on,go,,m = 1,off"), encoding="utf-8")
    done = run("from-table", "t.csv", "--to", "t.yaml", folder=tmp_path)
    assert (done.code, done.out) == (2, "")
    assert [one for one in ("t.csv:4:11", "t.csv:4:12", "t.csv:5:8") if one in done.err]
    assert "     4 │ on,go,n < ,,of\n       │             ▔▔\n" in done.err
    assert "unknown variable 'm'" in done.err
    assert not (tmp_path / "t.yaml").exists()


@pytest.mark.thorough
def test_a_huge_table_is_an_error(tmp_path: Path) -> None:
    """With the line at which it is too large."""
    (tmp_path / "t.csv").write_text("state,go\n" + "on,\n" * MOST_CELLS, encoding="utf-8")
    with pytest.raises(InvalidInput, match="too large"):
        read_table(str(tmp_path / "t.csv"))
