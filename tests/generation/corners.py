"""Small devices for corners of a step that random ones seldom come to."""

from __future__ import annotations

from textwrap import dedent

CORNERS = {
    "an answer over two links waits for room in both": """
        device: two answers
        chips:
          hub:
            variables: {slots: {list: 2, bool: true}, at: {range: [0, 2]}}
            states: [on]
            rules:
              - {on: step, if: "slots[at]", send: [note via front_air]}
              - {on: [hello, step], send: [note via front_air, note via rear_air]}
              - {on: move, do: ["at = min(2, at + 1)", "slots[1] = true"]}
            discards: [hello]
          left: {states: [on], rules: [{send: [hello]}, {on: note}]}
          right: {states: [on], rules: [{on: note}]}
        actors:
          player: {states: [here], rules: [{signal: [step]}, {signal: [move]}]}
        links:
          air: {from: left, to: hub, medium: radio, carries: [hello], when_full: wait}
          front_air: {from: hub, to: left, medium: radio, carries: [note], when_full: wait}
          rear_air: {from: hub, to: right, medium: radio, carries: [note], when_full: wait}
        """,
    "an answer that never finds room": """
        device: too much
        chips:
          hub:
            variables: {deaf: bool}
            states: [on]
            rules:
              - {on: [hello, step], if: not deaf, send: [note, note]}
              - {on: turn, do: [deaf = true]}
            discards: [hello]
          tile: {states: [on], rules: [{send: [hello]}, {on: note}]}
        actors:
          player: {states: [here], rules: [{signal: [step]}, {signal: [turn]}]}
        links:
          up: {from: tile, to: hub, medium: radio, carries: [hello], when_full: wait}
          down: {from: hub, to: tile, medium: radio, carries: [note], when_full: wait}
        """,
    "a late message waits until the link back is up and has room": """
        device: late answer
        clock: {tick: 1 ms, at_once: [links]}
        chips:
          hub:
            states: [on]
            rules:
              - {on: hello, if: late, send: [word(value) via down]}
              - {on: hello, send: [note via down]}
          tile:
            states: [on]
            rules: [{after: 1 ms, send: [hello(1)]}, {on: [note, word]}]
        actors:
          player:
            states: [near, away]
            rules: [{in: near, to: away}, {in: away, to: near}]
        links:
          up:
            from: tile
            to: hub
            medium: radio
            carries: {hello: {range: [0, 1]}}
            delay: [1 ms, 2 ms]
            up_when: player.near
            when_down: hold
            when_full: wait
          down:
            from: hub
            to: tile
            medium: radio
            carries: {note: {kind: state}, word: {kind: state, range: [0, 1]}}
            up_when: player.near
            when_down: hold
            when_full: wait
            delay: 2 ms
        """,
    "what a message carries is over when a signal is heard": """
        device: over
        signals: {ping: {range: [0, 3]}}
        chips:
          hub:
            states: [on]
            rules: {pass_on: {on: keys, signal: [ping(1)]}}
          lamp:
            variables: {x: {range: [0, 3]}, old: bool}
            states: [on]
            rules: {hear: {on: [keys, ping], do: [x = value, old = late]}}
          src:
            states: [on]
            rules: {speak: {send: [keys(2) via one, keys(3) via two]}}
        links:
          one:
            from: src
            to: hub
            medium: internal
            carries: {keys: {range: [0, 3]}}
            when_full: wait
          two:
            from: src
            to: lamp
            medium: internal
            carries: {keys: {range: [0, 3]}}
            when_full: wait
        """,
    "signals of a cascade carry values of their own": """
        device: cascade
        signals: {first: {range: [0, 9]}, second: {range: [-9, 9]}, mood: {one_of: [calm, busy]}}
        chips:
          hub:
            variables: {own: {range: [0, 9], start: 5}}
            states: {a: {rest: true}, b: {rest: true}}
            rules:
              - in: a
                on: go
                do: [own = value + 1]
                signal: [first(own), plain, second(-value)]
                to: b
          near:
            variables: {seen: {range: [-9, 9]}, told: {range: [-9, 9]}}
            states: {idle: {rest: true}}
            rules:
              - on: first
                do: [seen = value]
                signal: [second(value * 2), mood(busy if value > 3 else calm)]
          far:
            variables: {one: {range: [-9, 9]}, two: {range: [-9, 9]}, three: {range: [-9, 9]}}
            states: {idle: {rest: true}}
            rules:
              - {on: first, do: [one = value]}
              - {on: second, do: ["two, three = value, two"]}
          lamp:
            variables: {now: {one_of: [calm, busy]}, count: {range: [0, 3]}}
            states: {idle: {rest: true}}
            rules:
              - {on: mood, do: [now = value]}
              - {on: plain, if: count < 3, do: [count += 1]}
          tile:
            states: {idle: {rest: true}}
            rules: [{name: press, send: [go(3)]}]
        links: {up: {from: tile, to: hub, carries: {go: {range: [0, 8]}}, when_full: wait}}
        """,
    "a newer picture is of this session, a sum stays late": """
        device: sessions
        chips:
          hub:
            variables: {old: bool}
            states: [on]
            rules: {hear: {on: [keys, turn], do: [old = late]}}
          tile:
            states: [on]
            rules: {show: {send: [keys(1) via air]}, twist: {send: [turn(0) via air]}}
        actors:
          player:
            states: [near, away]
            rules: {go: {in: near, to: away}, come: {in: away, to: near}}
        links:
          air:
            from: tile
            to: hub
            medium: radio
            capacity: 2
            carries: {keys: {kind: state, range: [0, 1]}, turn: {kind: relative, range: [-1, 1]}}
            up_when: player.near
            when_down: hold
            when_full: wait
        faults: {reset: {chips: [tile]}}
        """,
    "a rule fails before power can be cut in its middle": """
        device: before
        chips:
          hub:
            variables: {x: {range: [0, 1], persistent: true}, y: {bool: true, persistent: true}}
            states: [on]
            rules: {count: {steps: separate, do: [x = x + 1, y = not y]}}
        faults: {power_cut: {chips: [hub]}}
        """,
    "who hears a signal is found out before anybody moves": """
        device: first
        chips:
          hub:
            variables: {x: {range: [0, 1]}}
            states: [on]
            rules: {count: {on: press, do: [x = x + 1]}}
          lamp:
            variables: {slots: {list: 2, bool: true}, at: {range: [0, 2]}}
            states: [on]
            rules: {move: {do: ["at = min(2, at + 1)"]}, hear: {on: press, if: "slots[at]"}}
        actors:
          player: {states: [here], rules: {press: {signal: [press]}}}
        """,
    "who hears a timer's signal is cut in the middle": """
        device: cut
        chips:
          hub:
            states: [on, off]
            rules:
              blink: {in: on, after: 20 ms, signal: [press], to: off}
              back: {in: off, to: on}
          tile:
            variables: {x: {bool: true, persistent: true}, y: {bool: true, persistent: true}}
            states: [on]
            rules: {hear: {on: press, steps: separate, do: [x = not x, y = not y]}}
        faults: {reset: {chips: [tile]}}
        """,
    "a step fails as another of its label does, that no message of the link begins": """
        device: same
        chips:
          hub:
            states: [on]
            rules: {tell: {signal: [press, go]}}
            discards: {on: [one]}
          box:
            states: [on]
            rules: {hear: {on: one, signal: [press, go]}}
          bell:
            states: [on]
            rules: {ring: {on: go, send: [one via side, one via side]}}
          tile:
            variables: {x: {bool: true, persistent: true}, y: {bool: true, persistent: true}}
            states: [on]
            rules: {hear: {on: press, steps: separate, do: [x = not x, y = not y]}}
        links:
          down: {from: player, to: box, carries: [one], capacity: 2, order: any}
          side: {from: bell, to: hub, carries: [one]}
        actors:
          player: {states: [here], rules: {call: {send: [one via down]}}}
        faults: {reset: {chips: [tile]}}
        """,
}
"""Device files by what they show."""

CORNERS = {name: dedent(text) for name, text in CORNERS.items()}
