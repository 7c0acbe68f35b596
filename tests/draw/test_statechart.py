"""What a statechart shows: states, frames, arrows, and every rule of the chip."""

from __future__ import annotations

from pathlib import Path

from modecheck.draw.labels import rule_label, rule_trigger
from modecheck.draw.statechart import CHIP_FRAME, statechart
from modecheck.model.parts import Device
from tests.draw.conftest import Pictured
from tests.draw.making import chip_of, picture_of
from tests.draw.reading_svg import squeezed, words_of


def test_every_rule_stands_in_the_picture(stage: Device, stage_picture: Pictured) -> None:
    """No trigger, guard or effect of any rule is missing from the text of the SVG."""
    for chip in stage.chips.values():
        words = stage_picture(f"chip-{chip.name}").words
        for rule in chip.rules:
            assert squeezed(rule_label(rule)) in words


def test_every_state_is_a_box_or_a_frame(stage: Device, stage_picture: Pictured) -> None:
    """Simple states are boxes, composite ones are frames, and all bear their name."""
    hub, picture = stage.chips["hub"], stage_picture("chip-hub")
    boxes = {words_of(group)[0] for kind in ("state", "rest") for group in picture.groups(kind)}
    headers = {words_of(group)[0] for group in picture.groups("header")}
    assert boxes == set(hub.leaves)
    assert headers == {"online", "wired", "bluetooth"}


def test_states_of_rest_have_a_second_outline(stage: Device, stage_picture: Pictured) -> None:
    """Rest shows in the shape, not in the colour alone."""
    hub, picture = stage.chips["hub"], stage_picture("chip-hub")
    outlines = {
        words_of(group)[0]: sum("rect" in node.tag for node in group.iter())
        for kind in ("state", "rest")
        for group in picture.groups(kind)
    }
    assert outlines == {leaf: 2 if hub.states[leaf].rest else 1 for leaf in hub.leaves}


def test_frames_hold_their_states(stage: Device, stage_picture: Pictured) -> None:
    """A state lies inside the frame of its composite state, and in no other."""
    hub, picture = stage.chips["hub"], stage_picture("chip-hub")
    frames = {
        name: picture.outline(picture.named("composite", name))
        for name in ("online", "wired", "bluetooth")
    }
    for leaf in hub.leaves:
        kind = "rest" if hub.states[leaf].rest else "state"
        place = picture.outline(picture.named(kind, leaf))
        for name, frame in frames.items():
            inside = frame.holds(place.corners[0]) and frame.holds(place.corners[2])
            assert inside == (hub.states[leaf].parent == name)
            assert inside or not frame.meets(place)


def test_arrows_of_composite_states_end_at_their_border(stage_picture: Pictured) -> None:
    """A rule of a composite state leaves its frame's border, and one to it arrives there."""
    picture = stage_picture("chip-hub")
    wired = picture.outline(picture.named("composite", "wired")).grown(0.2)
    touching = [
        points
        for title, points in picture.lines
        if title in ("wired to switching", "switching to wired")
        and any(wired.holds(point) for point in (points[0], points[-1]))
    ]
    assert len(touching) == 2
    for points in touching:
        assert not wired.grown(-12).holds(points[0])
        assert not wired.grown(-12).holds(points[-1])


def test_rules_of_the_whole_chip_start_at_the_outer_frame(stage_picture: Pictured) -> None:
    """What holds in any state starts at the border of the diagram, or stands beside its name."""
    picture = stage_picture("chip-hub")
    frame = picture.outline(picture.named("composite", "chip hub"))
    starts = [points[0] for title, points in picture.lines if title == "any state to off"]
    assert any(abs(y - frame.top) < 0.2 for _, y in starts)
    words = squeezed("".join(words_of(picture.groups("words")[0])))
    assert "tick_front,tick_rear/uptime=min(uptime+1,3)" in words
    assert "bus_idle/(discarded)" in words


def test_rules_without_a_target_stand_inside_their_state(stage_picture: Pictured) -> None:
    """UML's internal transitions, and what is deferred or discarded, stand below its name."""
    picture = stage_picture("chip-hub")
    searching = words_of(picture.named("state", "searching"))
    assert searching == [
        "searching",
        "after (20 ms) [retries < 3]",
        "/ retries += 1; send beacon via front_down",
    ]
    assert words_of(picture.named("state", "updating"))[1:] == [
        "mode_button / (discarded)",
        "keys / defer",
    ]


def test_compartments_are_parted_by_a_line(stage_picture: Pictured) -> None:
    """UML draws a line between a state's name and what happens inside it."""
    picture = stage_picture("chip-hub")
    for name, lines in (("searching", 1), ("resuming", 0)):
        group = picture.named("state", name)
        assert sum(node.attrib.get("class") == "rule" for node in group.iter()) == lines


def test_rules_between_the_same_states_share_an_arrow(stage: Device) -> None:
    """Two rules from searching to linked become one arrow with both labels, in document order."""
    sketch = statechart(stage.chips["hub"])
    arrows = [arrow for arrow in sketch.arrows if arrow.hint == "searching to linked"]
    assert len(arrows) == 1
    assert arrows[0].label
    assert [block.lines[0].runs[0].text for block in arrows[0].label.blocks] == [
        "hello via front_up",
        "hello via rear_up",
    ]


def test_a_rule_of_several_states_is_written_once(stage: Device) -> None:
    """Lines from all its states meet in one label; each tail has a line, the head has one."""
    sketch = statechart(stage.chips["hub"])
    arrows = [
        arrow for arrow in sketch.arrows if arrow.heads[0].box == "off" and len(arrow.tails) > 1
    ]
    assert [arrow.hint for arrow in arrows] == ["advertising, bluetooth_up to off"]
    assert len(arrows[0].stretches) == 3
    assert [stretch.last for stretch in arrows[0].stretches] == [False, False, True]


def test_a_rule_is_written_once_though_another_shares_one_of_its_arrows(tmp_path: Path) -> None:
    """Near-parallel arrows do not repeat a label: a rule's lines meet, another rule has its own."""
    chip = chip_of(
        tmp_path,
        """
        states: [off, one, two]
        rules:
          - {in: off, on: hello, to: one}
          - {in: one, on: hello, to: two}
          - {in: [one, two], on: bye, to: off}
          - {in: one, after: 1 s, to: off}
        """,
        hears=("hello", "bye"),
    )
    labels = [words_of(group) for group in picture_of(chip).groups("label")]
    assert sorted(labels) == [["after (1 s)"], ["bye"], ["hello"], ["hello"]]


def test_the_text_of_a_rule_stands_below_its_label(tmp_path: Path) -> None:
    """On arrows and inside states, in italics; the legend says what it is."""
    chip = chip_of(
        tmp_path,
        """
        variables: {x: {range: [0, 3]}}
        states: [here, there]
        rules:
          - {in: here, on: hello, to: there, text: goes there}
          - {in: here, on: bye, do: [x = 1], text: counts}
        """,
        hears=("hello", "bye"),
    )
    picture = picture_of(chip)
    (label,) = picture.groups("label")
    assert words_of(label) == ["hello", "goes there"]
    assert words_of(picture.named("state", "here"))[1:] == ["bye / x = 1", "counts"]
    remarks = {node.text for node in picture.root.iter() if node.attrib.get("class") == "remark"}
    assert remarks == {"goes there", "counts", "text"}
    assert "what the rule is for" in picture.legend
    bare = picture_of(chip_of(tmp_path, "states: [here]\nrules: []"))
    assert "what the rule is for" not in bare.legend


def test_no_rule_is_lost_or_doubled_among_the_arrows(stage: Device) -> None:
    """For each state that a rule leaves there is one line that starts there."""
    for chip in stage.chips.values():
        moves = {
            (source, rule.target, rule.title)
            for rule in chip.rules
            if rule.target
            for source in rule.sources or (CHIP_FRAME,)
        }
        drawn = [
            (
                tail.frame or tail.box,
                head.frame or head.box,
                block.lines[0].runs[0].text,
            )
            for arrow in statechart(chip).arrows
            if arrow.label
            for block in arrow.label.blocks
            for tail in arrow.tails
            for head in arrow.heads
        ]
        assert len(drawn) == len(moves)
        assert {(source, target) for source, target, _ in drawn} == {
            (source, target) for source, target, _ in moves
        }


def test_a_rule_back_to_its_own_state_is_a_loop(tmp_path: Path) -> None:
    """Leaving and entering the same state is drawn, since UML tells it from staying inside."""
    chip = chip_of(
        tmp_path,
        "states: [here]\nrules: [{in: here, after: 1 s, to: here}, {in: here, on: ping}]",
        ("ping",),
    )
    picture = picture_of(chip)
    loops = [points for title, points in picture.lines if title == "here to here"]
    assert len(loops) == 2
    assert "ping" in words_of(picture.named("state", "here"))


def test_a_composite_state_may_lead_to_itself_and_inside(tmp_path: Path) -> None:
    """Rules from a composite state into itself, to a state inside and back up are all drawn."""
    chip = chip_of(
        tmp_path,
        """
        states: {outer: {states: {one: {}, two: {}}}, last: {rest: true}}
        rules:
          - {in: outer, on: again, to: outer}
          - {in: outer, on: skip, to: two}
          - {in: one, on: start_over, to: outer}
          - {in: last, on: back, to: outer}
          - {in: outer, on: quit, to: last}
        """,
        hears=("again", "skip", "start_over", "back", "quit"),
    )
    picture = picture_of(chip)
    assert {title for title, _ in picture.lines} >= {
        "outer to outer",
        "outer to two",
        "one to outer",
        "last to outer",
        "outer to last",
    }
    frame = picture.outline(picture.named("composite", "outer"))
    for title, points in picture.lines:
        if title == "outer to two":
            assert all(frame.grown(0.2).holds(point) for point in points)


def test_a_frame_around_frames_is_drawn_first(tmp_path: Path) -> None:
    """Inner frames lie on outer ones, with another ground, so that depth can be seen."""
    chip = chip_of(
        tmp_path, "states: {a: {states: {b: {states: {c: {}, d: {}}}}}, e: {}}\nrules: []"
    )
    frames = picture_of(chip).groups("composite")
    classes = [
        next(frame.iter("{http://www.w3.org/2000/svg}rect")).attrib["class"] for frame in frames
    ]
    assert classes == ["frame ground-0", "frame ground-1", "frame ground-0"]


def test_variables_are_listed_below(stage_picture: Pictured) -> None:
    """Each variable stands there with its values, its start, and whether it outlives power."""
    words = stage_picture("chip-hub").words
    assert "retriesanumberfrom0to3startsas0" in words
    assert "front_bondnoneorakeyfrom1to1startsasnonesurvivespowerloss" in words


def test_the_legend_explains_what_occurs_and_nothing_else(stage_picture: Pictured) -> None:
    """Rest, composite states, deferring and discarding are explained where they occur."""
    hub, host = stage_picture("chip-hub").legend, stage_picture("chip-host").legend
    for words in (
        "rest state: ",
        "state inside",
        "event / defer",
        "event / (discarded)",
        "initial",
    ):
        assert words in hub
    assert "rest state: " in host
    for words in ("state inside", "event / defer", "event / (discarded)", "must leave"):
        assert words not in host


def test_the_trigger_of_every_arrow_is_set_apart(stage: Device) -> None:
    """Triggers are bold, so that the eye finds what happens before what it does."""
    hub = stage.chips["hub"]
    bold = {
        run.text
        for box in statechart(hub).every_box
        for block in box.blocks
        for line in block.lines
        for run in line.runs
        if run.face == "trigger"
    }
    assert {rule_trigger(rule) for rule in hub.rules} <= bold
