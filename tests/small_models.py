"""A small model file that uses every section, and helpers that break it in one place."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

WITHIN_SECONDS = 8.0
"""Far above what any of these takes (at most about 3 s), far below what a person would call hanging."""

TINY = """\
id: tiny
title: A lamp and its supply
about: For tests only.

complaint: {observation: reported, state: dark}
confirmed_by: {look: dark}
second_fault_share: 0.04
strength: {shares: 10, rows: 5}
nominal: {from_volts: 20, to_volts: 60, input_rails_volts: [12], mark: practice}

components:
  lamp:
    label: lamp
    also: [bulb]
    modes:
      open: {label: open, share: 0.5, mark: reasoned}
      shorted: {label: shorted, share: 0.1, mark: reasoned}
  supply:
    label: supply
    short: psu
    modes:
      dead: {label: dead, share: 0.3, mark: practice}
  other:
    label: another cause
    modes:
      unknown: {label: not in this model, share: 0.1, mark: reasoned}

groups:
  light_side: {label: light side, of: [lamp]}

collateral:
  - {cause: lamp.shorted, effect: supply.dead, chance: 0.2, mark: reasoned}

conditions:
  age:
    label: age
    states: [young, old]
    shares: [0.4, 0.6]
    odds:
      old: {lamp.open: 2}
    mark: reasoned

rails:
  feed:
    label: feed
    states: [there, missing]
    given: [supply]
    rule:
      - {when: {supply: dead}, is: missing}
      - {is: there}
  light:
    label: light
    states: [lit, none]
    given: [feed, lamp]
    rule:
      - {when: {feed: there, lamp: ok}, is: lit}
      - {is: none}

observations:
  reported:
    label: what is reported
    states: [dark, another]
    given: [light, other]
    mark: reasoned
    table:
      - {when: {light: none}, p: [0.9, 0.1]}
      - {when: {other: unknown}, p: [0.6, 0.4]}
      - {p: [0.01, 0.99]}
  look:
    label: looking at it
    states: [dark, lit]
    labels: {dark: no light}
    given: [light, other]
    mark: reasoned
    table:
      - {when: {light: none}, p: [0.95, 0.05]}
      - {when: {other: unknown}, p: [0.5, 0.5]}
      - {p: [0.02, 0.98]}
  volts:
    label: voltage at the lamp
    kind: reading
    states: [zero, normal]
    given: [feed]
    mark: reasoned
    table:
      - {when: {feed: missing}, p: [0.97, 0.03], strength: 7}
      - {p: [0.04, 0.96], mark: practice}
    reading:
      unit: V
      given: [age]
      hold: steady
      outliers: {share: 0.02, up_to_volts: 400}
      mark: reasoned
      levels:
        zero: [{mix: [{normal: [0, 0.01]}]}]
        normal:
          - {when: {age: old}, mix: [{share: 0.5, normal: [0.9, 0.05]}, {share: 0.5, uniform: [0.6, 1.1]}]}
          - {when: {age: young}, mix: [{normal: [1, 0.04]}]}
      settled:
        zero: [{mix: [{rail: 0.03}]}]

cautions:
  unplugged: Mains plug out first.
  powered: Live parts; trained people only.

setups:
  - {change: cover=off, label: cover off, minutes: 8, hazard: 1, cautions: [unplugged], mark: reasoned}
  - {change: cover=on, label: cover on, minutes: 6, hazard: 1, cautions: [unplugged], mark: reasoned}
  - {change: mains=off, label: unplug, minutes: 0, hazard: 0, mark: reasoned}
  - {change: mains=on, label: on, minutes: 1, hazard: 0, hazard_cover_off: 2, cautions: [powered], mark: reasoned}
  - {change: mains=discharged, label: discharge, minutes: 4, hazard: 3, cautions: [powered], mark: reasoned}
  - {change: led_cable=out, label: cable out, minutes: 1, hazard: 1, cautions: [unplugged], mark: reasoned}
  - {change: led_cable=in, label: cable in, minutes: 1, hazard: 1, cautions: [unplugged], mark: reasoned}
  - {change: panel=opened, label: open, minutes: 30, minutes_large: 50, hazard: 4, cautions: [powered], mark: reasoned}
  - {change: panel=closed, label: close, minutes: 30, hazard: 4, cautions: [powered], mark: reasoned}

tests:
  look: {label: look at it, minutes: 1, hazard: 0, needs: {mains: on}, mark: reasoned}
  volts:
    label: measure it
    how: Clip on, then switch on.
    minutes: 3
    hazard: 3
    needs: {cover: off, mains: on}
    after: [look]
    cautions: [powered]
    side_effect: Clipping on can wake a filament.
    alters: [{component: lamp, mode: open, to: ok, chance: 0.1, mark: reasoned}]
    mark: reasoned

repairs:
  replace_lamp:
    label: replace the lamp
    also: [new_lamp]
    fixes: [lamp]
    judged_by: light_side
    success: 0.9
    arrives_faulty: 0.03
    minutes_by_size: [10, 10, 15, 20]
    parts: [[5, 9], [5, 9], [6, 12], [8, 8]]
    harm: [0, 0, 0.01, 0.02]
    comeback: 0.05
    hazard: 1
    needs: {cover: off, mains: discharged}
    after: [look, [volts]]
    cautions: [unplugged]
    advice: The same type only.
    mark: reasoned
"""


WITH_NEIGHBOURS = (
    TINY.replace("      old: {lamp.open: 2}\n", "      old: {lamp.open: 2}\n    asked: true\n")
    + """
refuse:
  kind:
    label: kind of lamp
    fits: [bulb, tube]
    refused: {torchlight: A flame is no lamp.}

continue_with:
  condition: age
  states:
    young:
      models: {backlight: where there is a screen}
      unless: {age: {old: Too old for it.}}

compare_with:
  model: intake
  condition: family
  state: no_power
  findings:
    look: {as: light, states: {dark: none, lit: [steady, part]}}
    volts: {as: standby_light, states: {zero: dark}}
"""
)
"""The same with what it says about other models."""


def edit(old: str, new: str, text: str = TINY) -> str:
    """The text with one passage replaced, which must stand in it exactly once."""
    assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in the text"
    return text.replace(old, new)


def of_one_part() -> str:
    """The small model with the lamp as its only component."""
    a = TINY.index("  supply:\n    label: supply")
    text = TINY[:a] + TINY[TINY.index("groups:") :]
    text = edit("open, share: 0.5", "open, share: 0.9", text).replace("supply", "lamp")
    link = "collateral:\n  - {cause: lamp.shorted, effect: lamp.dead, chance: 0.2, mark: reasoned}\n"
    text = edit(link, "", edit("{lamp: dead}", "{lamp: shorted}", text)).replace("[light, other]", "[light]")
    return "".join(line for line in text.splitlines(keepends=True) if "other: unknown" not in line)


def place_of(passage: str, text: str) -> tuple[int, int]:
    """Line and column, from 1, of a passage that stands in the text exactly once."""
    assert text.count(passage) == 1, f"{passage!r} stands {text.count(passage)} times in the text"
    before = text[: text.index(passage)]
    return before.count("\n") + 1, len(before) - before.rfind("\n")


def write_model(folder: Path, text: str | bytes, name: str = "tiny.yaml") -> str:
    """The path of a new file with this text."""
    file = folder / name
    file.write_bytes(text.encode() if isinstance(text, str) else text)
    return str(file)


@contextmanager
def within_seconds() -> Iterator[None]:
    """What happens inside takes no longer than a person would wait."""
    start = time.monotonic()
    yield
    assert time.monotonic() - start < WITHIN_SECONDS
