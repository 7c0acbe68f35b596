"""Faults: a link that loses or doubles, a chip that loses power, and how often."""

from __future__ import annotations

from tests.stepping import Moment, begin

LINK = """
device: faults of a link
chips:
  front: {states: {idle: {}}, rules: [{name: ping, send: ping}, {name: pong, send: pong}]}
  hub: {states: {idle: {}}, rules: [{name: take, on: [ping, pong]}]}
actors:
  player: {states: {near: {}, far: {}}, rules: [{name: leave, in: near, to: far}]}
links:
  up:
    {from: front, to: hub, carries: [ping, pong],
     capacity: 3, up_when: player.near, when_down: hold}
  side: {from: front, to: hub, carries: [beep], capacity: 3}
"""


def faults(text: str) -> Moment:
    return begin(f"{LINK}faults:\n  {text}\n")


def test_link_loses_its_head() -> None:
    """A link that can lose loses what would be delivered next."""
    moment = begin(LINK.replace("hold}", "hold, can: [lose]}")).take("front ping", "front pong")
    assert moment.take("up lose").messages("up") == ["pong"]


def test_link_doubles_its_head() -> None:
    """The copy stands right behind the head, before what was sent later."""
    moment = begin(LINK.replace("hold}", "hold, can: [duplicate]}")).take(
        "front ping", "front pong"
    )
    assert moment.take("up duplicate").messages("up") == ["ping", "ping", "pong"]


def test_full_link_cannot_double() -> None:
    """There must be room for the copy."""
    moment = faults("duplicate: {links: [up]}").take("front ping", "front ping", "front ping")
    assert "up duplicate" not in moment.labels


def test_nothing_happens_to_an_empty_link() -> None:
    """Without a head there is nothing to lose or to double."""
    moment = faults("lose: {links: [up]}\n  duplicate: {links: [up]}")
    assert not [label for label in moment.labels if label.startswith("up")]


def test_link_that_is_down_loses_nothing() -> None:
    """What a link holds while it is down is out of reach of its faults."""
    moment = faults("lose: {links: [up]}").take("front ping", "player leave")
    assert moment.messages("up") == ["ping"]
    assert "up lose" not in moment.labels


def test_without_a_budget_a_fault_strikes_any_number_of_times() -> None:
    """`at_most` left out: as often as there is something to strike."""
    moment = faults("lose: {links: [up]}")
    for _ in range(5):
        moment = moment.take("front ping", "up lose")


def test_budget_is_used_up() -> None:
    """A fault with `at_most: 2` strikes twice and never again."""
    moment = faults("lose: {links: [up], at_most: 2}")
    moment = moment.take("front ping", "up lose", "front ping", "up lose", "front ping")
    assert "up lose" not in moment.labels


def test_budget_of_nothing_never_strikes() -> None:
    """`at_most: 0` switches a fault off."""
    assert "up lose" not in faults("lose: {links: [up], at_most: 0}").take("front ping").labels


def test_budget_is_shared_by_its_group() -> None:
    """One group has one budget, whichever link or chip it strikes."""
    moment = faults("reset: {chips: [front, hub], at_most: 1}").take("front reset")
    assert not [label for label in moment.labels if label.endswith("reset")]


def test_groups_have_budgets_of_their_own() -> None:
    """Several groups of one kind count separately."""
    groups = "reset: [{chips: [front], at_most: 1}, {chips: [hub], at_most: 1}]"
    assert "hub reset" in faults(groups).take("front reset").labels


def test_link_named_under_faults_need_not_repeat_can() -> None:
    """A budget bounds a link that `can` lose; there is no second, free way to lose."""
    text = LINK.replace("hold}", "hold, can: [lose]}")
    moment = begin(f"{text}faults: {{lose: {{links: [up], at_most: 1}}}}\n").take(
        "front ping", "up lose"
    )
    assert "up lose" not in moment.take("front ping").labels


def test_two_groups_without_a_budget_give_one_step() -> None:
    """The same fault named twice without a budget is one transition."""
    moment = faults("reset: [{chips: [front]}, {chips: [front, hub]}]")
    assert len(moment.steps["front reset"]) == 1


CHIP = """
device: power
chips:
  hub:
    variables:
      bond: {bond: 3, persistent: true}
      profile: {range: [0, 3], list: 2, persistent: true, start: [1, 2]}
      retries: {range: [0, 3], start: 1}
      slots: {range: [0, 3], list: 2, start: [3, 2]}
    states:
      off: {}
      on_air: {initial: linked, states: {searching: {}, linked: {}}}
    initial: on_air
    rules:
      - name: work
        in: linked
        do: [bond = 2, "profile[0] = 3", retries = 3, "slots[1] = 0"]
        to: searching
      - {name: send, send: [down]}
  front: {states: {idle: {}}, rules: [{name: send, send: [up]}], discards: [down]}
links:
  up: {from: front, to: hub, carries: [up], capacity: 2}
  down: {from: hub, to: front, carries: [down], capacity: 2}
faults: {power_cut: {chips: [hub]}, reset: {chips: [hub], at_most: 1}}
"""


def test_chip_falls_back_to_its_initial_state_at_any_moment() -> None:
    """After a power cut or a reset the chip is where it started, down the initial states."""
    moment = begin(CHIP).take("hub work")
    for fault in ("hub power_cut", "hub reset"):
        assert moment.take(fault).at("hub") == "linked"


def test_only_persistent_variables_keep_their_value() -> None:
    """Volatile variables start afresh, items of lists included."""
    moment = begin(CHIP).take("hub work", "hub power_cut")
    assert (moment.value("hub.bond"), moment.items("hub.profile")) == (2, (3, 2))
    assert (moment.value("hub.retries"), moment.items("hub.slots")) == (1, (3, 2))


def test_power_cut_empties_the_queues_into_the_chip_only() -> None:
    """What was on the way to the chip is gone; what it had sent still arrives."""
    moment = begin(CHIP).take("front send", "front send", "hub send", "hub power_cut")
    assert (moment.messages("up"), moment.messages("down")) == ([], ["down"])


def test_others_do_not_notice_a_power_cut() -> None:
    """Nobody else moves when a chip falls back."""
    step = begin(CHIP).step("hub power_cut")
    assert step.moved == 0


def test_timers_run_out_at_any_moment() -> None:
    """Without a clock `after` is abstract: the rule may be taken once the state is entered."""
    moment = begin("""
        device: timers
        chips:
          hub:
            states: {waiting: {}, early: {}, late_one: {}}
            rules:
              - {name: short, in: waiting, after: 1 ms, to: early}
              - {name: long, in: waiting, after: [1 s, 2 h], to: late_one}
    """)
    assert moment.labels == ["hub short", "hub long"]


def test_actors_act_like_chips() -> None:
    """People and surroundings have states, variables and links of their own."""
    moment = begin("""
        device: actors
        chips:
          hub:
            states: {dark: {}, lit: {}}
            rules: [{name: light, in: dark, send: [lamp], to: lit}]
        actors:
          player:
            variables: {seen: bool}
            states: {bored: {}, happy: {}}
            rules: [{name: see, on: lamp, do: [seen = true], to: happy}]
        links: {eye: {from: hub, to: player, carries: [lamp]}}
    """).take("hub light", "eye to player see")
    assert (moment.at("player"), moment.value("player.seen")) == ("happy", 1)
