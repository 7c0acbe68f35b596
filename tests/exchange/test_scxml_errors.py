"""Charts that are wrong, or say what a model cannot: every error at its place, nothing written."""

from __future__ import annotations

from pathlib import Path

import pytest

from modecheck.exchange.scxml_reading import read_scxml
from modecheck.exchange.scxml_words import SCXML
from modecheck.exchange.xml_reading import DEEPEST
from modecheck.model.errors import InvalidInput
from tests.cli.running import run

HEAD = f'<scxml xmlns="{SCXML}" xmlns:chip="urn:modecheck:chip" version="1.0">'


def chart(inside: str, data: str = "") -> str:
    """A chart with a state `on` that has this inside, from line 3 on, and one called `off`."""
    model = f"<datamodel>{data}</datamodel>" if data else ""
    return f'{HEAD}{model}\n<state id="on">\n{inside}\n</state>\n<state id="off"/>\n</scxml>\n'


def transition(inside: str = "", *, attributes: str = 'event="go"') -> str:
    return f"<transition {attributes}>{inside}</transition>"


COUNT = '<data id="count" expr="0" chip:holds="[0, 3]"/><data id="lit" expr="false"/>'
PARAMS = '<param name="a" expr="1"/><param name="b" expr="2"/>'
DELAYED = '<send event="t" delay="1s"/>'

WRONG = [
    # XML itself
    ("", "1 ", "no element found"),
    ("<scxml>\n<state></scxml>", "2 s", "mismatched tag | </state>, which ends that of line 2"),
    ("<scxml", "1 <", "unclosed token"),
    ("<scxml><a b=1/></scxml>", "1 1", "not well-formed"),
    ("<a:scxml/>", "1 <", "unbound prefix"),
    ("<scxml/><scxml/>", "1 <", "junk after document element"),
    ("\x00", "1 \x00", "control character | XML text"),
    (
        "<?xml version='1.0'?>\n<!DOCTYPE scxml [\n]><scxml/>",
        "2 <!DOCTYPE",
        "document type declaration",
    ),
    ("<a>" * (DEEPEST + 1), "1 <", "nested too deeply"),
    # Elements and attributes
    ('<scxml version="1.0"/>', "1 <scxml", f"no namespace | {SCXML}"),
    ('<scxml xmlns="urn:other" version="1.0"/>', "1 <scxml", "the namespace 'urn:other'"),
    (f'<state xmlns="{SCXML}"/>', "1 <state", "<state> at the top | <scxml>"),
    (f'<scxml xmlns="{SCXML}" version="2.0"/>', "1 2.0", "the version '2.0' | 1.0"),
    (f'<scxml xmlns="{SCXML}"/>', "1 <scxml", "without 'version'"),
    (f"{HEAD}\n</scxml>", "1 <scxml", "a chart without states"),
    (
        chart("<transision/>"),
        "3 <transision",
        "no element <transision> | did you mean 'transition'?",
    ),
    (chart("<transition evnt='go'/>"), "3 evnt", "no attribute 'evnt' | did you mean 'event'?"),
    (chart("<transition chip:fre='true'/>"), "3 chip:fre", "'fre' of the namespace | 'free'"),
    (chart("<transition event='go' chip:fair='often'/>"), "3 often", "fair='often' | weak, strong"),
    (
        chart("<datamodel><assign location='a'/></datamodel>"),
        "3 <assign",
        "cannot stand in <datamodel>",
    ),
    (chart("  go"), "3 go", "text inside of <state>"),
    (chart("<onentry><raise/></onentry>"), "3 <raise", "<raise> without 'event'"),
    # States
    (chart(transition(attributes='event="go" target="of"')), "3 of", "'of' | did you mean 'off'?"),
    (chart(transition(attributes='event="go" target="on off"')), "3 on off", "several states"),
    (chart('<state id="off"/>'), "5 off", "two states 'off'"),
    (
        chart('<initial><transition target="off"/></initial><state id="a"/>'),
        "3 off",
        "not directly",
    ),
    (chart("<initial/><state id='a'/>"), "3 <initial", "<initial> does not say where to begin"),
    (chart('<history id="h"/>'), "3 <history", "<history> has no counterpart | a variable"),
    (chart('<parallel id="p"/>'), "3 <parallel", "<parallel> has no counterpart | each region"),
    (chart('<invoke src="other.scxml"/>'), "3 <invoke", "<invoke> has no counterpart"),
    (chart(transition("<script>x()</script>")), "3 <script", "<script> has no counterpart"),
    (chart(transition(attributes='event="go" type="inner"')), "3 inner", "the type 'inner'"),
    # Expressions
    (chart(transition(attributes='event="a" cond="cunt == 1"'), COUNT), "3 cunt", "'count'"),
    (chart(transition(attributes='event="a" cond="count"'), COUNT), "3 count", "true or false"),
    (chart(transition(attributes='event="a" cond="lit &amp;&amp; x"'), COUNT), "3 x", "'x'"),
    (chart(transition(attributes='event="a" cond="count ="'), COUNT), "3 =", "'=' is not allowed"),
    (
        chart(transition(attributes='event="a" cond="count /2 == 1"'), COUNT),
        "3 count /2",
        "Math.floor",
    ),
    (chart(transition(attributes='event="a" cond="f(count)"'), COUNT), "3 f", "no function 'f'"),
    (chart(transition(attributes='event="a" cond="In(\'of\')"')), "3 of", "did you mean 'off'?"),
    (
        chart(transition(attributes='event="a" cond="_event.name == 1"')),
        "3 _event.name",
        "brings along",
    ),
    (
        chart(transition(attributes='cond="_event.data.x" target="off"')),
        "3 _event.data.x",
        "no event here",
    ),
    (
        chart(transition(attributes='event="a" cond="count == 010"'), COUNT),
        "3 010",
        "begins with 0",
    ),
    (
        chart(transition(attributes='event="a" cond="(count - 1) % 4 == 3"'), COUNT),
        "3 (count - 1) % 4",
        "may be negative | Math.floor",
    ),
    (
        chart(transition(attributes='event="a" cond="_event.data.value % 2 == 1"')),
        "3 _event.data.value % 2",
        "may be negative",
    ),
    (chart(transition(attributes='event="a" cond="1.5 > 1"')), "3 1.5", "a number with a fraction"),
    (
        chart(transition(attributes='event="a" cond="' + "(" * 50 + 'lit"'), COUNT),
        "3 (",
        "nested too deeply",
    ),
    (chart(transition(attributes='event="a" cond="' + "!" * 2001 + '"')), "3 !", "too long"),
    (chart(transition('<assign location="cuont" expr="1"/>'), COUNT), "3 cuont", "'count'"),
    (chart(transition('<assign location="count" expr="true"/>'), COUNT), "3 true", "true or false"),
    (chart(transition('<assign location="count"/>'), COUNT), "3 <assign", "without an expression"),
    # What variables hold
    (chart("", '<data id="n" expr="0"/><data id="n"/>'), "1 <data", "declared twice"),
    (chart("", '<data id="_n" expr="0"/>'), "1 <data", "begins with an underscore"),
    (chart("", '<data id="n" expr="x + 1"/>'), "1 x + 1", "cannot be a first value"),
    (chart("", '<data id="n" src="a.json"/>'), "1 src", "no other file is read"),
    (chart("", '<data id="n" expr="7" chip:holds="[0, 3]"/>'), "1 7", "from 0 to 3"),
    (chart("", '<data id="n" chip:holds="0..3"/>'), "1 0..3", "does not say what the variable"),
    (
        chart(transition('<assign location="n" expr="n + 1"/>'), '<data id="n" expr="0"/>'),
        "1 <data",
        "what 'n' can hold is not known | chip:holds",
    ),
    # What stands there alone (W3C SCXML, sections 3.6, 4.3, 5.3, 5.4, 5.7, 6.2), from memory
    (chart('<initial/><initial/><state id="a"/>'), "3 <initial", "a second initial state"),
    (
        chart('<initial><transition event="e" target="a"/></initial><state id="a"/>'),
        "3 event",
        "<transition> of <initial> with 'event'",
    ),
    (chart(transition(attributes='event=" "')), "3  ", "an event without a name"),
    (
        chart(transition('<if cond="true"><else/><elseif cond="true"/></if>')),
        "3 <elseif",
        "<elseif> behind <else>",
    ),
    (
        chart(transition('<if cond="true"><else/><log/><else/></if>')),
        "3 <else",
        "<else> behind <else>",
    ),
    (
        chart(transition('<send event="x" eventexpr="y" target="#_parent"/>')),
        "3 eventexpr",
        "<send> with 'event' and 'eventexpr' | one of them",
    ),
    (
        chart(transition('<assign location="count" expr="1">2</assign>'), COUNT),
        "3 2",
        "<assign> with 'expr' and a text",
    ),
    # When variables have their first values (section 5.3.3)
    (chart("").replace("version", 'binding="lat" version'), "1 lat", "did you mean 'late'?"),
    (
        chart('<datamodel><data id="n" expr="1"/></datamodel>').replace(
            "version", 'binding="late" version'
        ),
        "3 <data",
        "'n' has its first value when its state is entered | early",
    ),
    # What happens
    (chart(transition('<send target="#_parent"/>')), "3 <send", "a <send> without an event"),
    (
        chart(transition('<send event="x" target="#_parent" delay="1s"/>')),
        "3 #_parent",
        "a delayed event for '#_parent' | without a target",
    ),
    (
        chart(transition('<send event="x" delay="1s"><param name="a" expr="1"/></send>')),
        "3 <param",
        "a delayed event that brings a value along",
    ),
    (chart(transition('<send event="x"/>')), "3 <send", "sends an event to itself | #_parent"),
    (
        chart(transition('<send event="x" target="http://a"/>')),
        "3 http://a",
        "the target 'http://a'",
    ),
    (chart(transition('<send eventexpr="x" target="#_parent"/>')), "3 <send", "computed"),
    (
        chart(transition(f'<send event="x" target="#_up">{PARAMS}</send>')),
        "3 <send",
        "several values",
    ),
    (chart(transition('<send event="x" delay="soon"/>')), "3 soon", "'soon' is not a delay"),
    (chart(transition('<raise event="go"/>')), "3 <raise", "raises 'go' for itself"),
    (chart(transition('<cancel sendid="t"/>')), "3 t", "no delayed <send> has the id 't'"),
    (chart(transition(DELAYED) + transition(attributes='event="t u"')), "3 t u", "'t', which is a"),
    (
        chart(transition(attributes='event="done.state.a"')),
        "3 done.state.a",
        "only a processor of SCXML",
    ),
    (chart(transition(attributes="")), "3 <transition", "a transition that does nothing"),
    (
        chart(transition('<assign location="count" expr="1"/><if cond="count == 1"/>'), COUNT),
        "3 count == 1",
        "'count' is assigned before this condition",
    ),
    (
        chart("<onentry><send event='x' target='#_up'/></onentry>"),
        "3 <send",
        "when the chart starts",
    ),
]


@pytest.mark.parametrize(("text", "place", "told"), WRONG)
def test_every_error_has_its_place(text: str, place: str, told: str, tmp_path: Path) -> None:
    """Its line and what is marked there; and it says what was expected."""
    path = tmp_path / "chart.scxml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InvalidInput) as caught:
        read_scxml(str(path))
    found = "\n".join(map(str, caught.value.errors))
    places = [one.place for one in caught.value.errors if one.place is not None]
    marked = [one.text[one.column - 1 :][: one.width] for one in places]
    lines = [f"{one.line} {part}" for one, part in zip(places, marked, strict=True)]
    assert place in lines, found
    for part in told.split(" | "):
        assert part in found


def test_a_wildcard_for_very_many_events_is_an_error(tmp_path: Path) -> None:
    """Each would be named in the chip file, for each such transition."""
    many = "".join(transition(attributes=f'event="e{n}"') for n in range(201))
    (tmp_path / "chart.scxml").write_text(chart(transition(attributes='event="*"') + many))
    done = run("from-scxml", "chart.scxml", folder=tmp_path)
    assert done.code == 2
    assert "chart.scxml:3:20: '*' matches 201 events" in done.err


LAUGHS = "<!DOCTYPE s [<!ENTITY a 'ha'><!ENTITY b '&a;&a;&a;&a;&a;&a;&a;&a;'>]><s>&b;</s>"
OUTSIDE = "<!DOCTYPE s [<!ENTITY a SYSTEM 'secret.txt'>]><s>&a;</s>"


@pytest.mark.parametrize("text", [LAUGHS, OUTSIDE])
def test_no_entity_is_expanded(text: str, tmp_path: Path) -> None:
    """Neither one that grows, nor one that reads another file."""
    (tmp_path / "secret.txt").write_text("for nobody")
    (tmp_path / "chart.scxml").write_text(text)
    done = run("from-scxml", "chart.scxml", "--to", "chip.yaml", folder=tmp_path)
    assert (done.code, done.out) == (2, "")
    assert "chart.scxml:1:1: a document type declaration" in done.err
    assert "for nobody" not in done.err
    assert not (tmp_path / "chip.yaml").exists()


def test_an_error_is_shown_with_its_line(tmp_path: Path) -> None:
    """In a long document with entities and letters that take several bytes."""
    text = chart(
        "<!-- ♪ -->" + transition(attributes='event="ö" cond="1 &lt; 2 &amp;&amp; cuont"'), COUNT
    )
    (tmp_path / "chart.scxml").write_text(text, encoding="utf-8")
    done = run("from-scxml", "chart.scxml", folder=tmp_path)
    assert done.code == 2
    lines = done.err.splitlines()
    assert lines[0] == "chart.scxml:3:59: there is no variable 'cuont'"
    assert lines[1].index("cuont") == lines[2].index("▔▔▔▔▔")
    assert lines[3].strip() == "expected one of count, lit; did you mean 'count'?"
