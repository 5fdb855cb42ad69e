"""Small models with everything a model file can hold, written for the tests of diagnosis and ranking. Invented numbers.

A lamp: a bulb fed by a battery through a switch. `lamp_text` gives the file; `lamp` reads it.
"""

from pathlib import Path
from tempfile import TemporaryDirectory

from faultnet.files import load_model
from faultnet.model.model import Model

PLAIN = ""
COLLATERAL = "collateral: [{cause: bulb.shorted, effect: battery.flat, chance: 0.4, mark: reasoned}]\n"
ODDS = "    odds: {old: {battery.flat: 2.5, bulb.burnt: 1.5}}\n"

_TEXT = """\
id: lamp
title: A lamp that stays dark
complaint: {{observation: reported, state: dark}}
confirmed_by: {{seen_again: dark}}
second_fault_share: {second_fault_share}
strength: {{shares: {strength}, rows: {strength}}}

components:
  bulb:
    label: bulb
    modes:
      burnt: {{label: burnt out, share: 0.5, mark: reasoned}}
      shorted: {{label: shorted, share: 0.1, mark: reasoned}}
  battery:
    label: battery
    modes:
      flat: {{label: flat, share: 0.25, mark: reasoned}}
  contact:
    label: switch
    modes:
      dirty: {{label: dirty, share: 0.1, mark: reasoned}}
      broken: {{label: broken, share: 0.05, mark: reasoned}}
groups:
  far_end: {{label: far end, of: [bulb, contact]}}
{collateral}
conditions:
  age:
    label: age
    states: [young, old]
    shares: [0.7, 0.3]
{odds}    mark: reasoned
  battery_kind:
    label: kind of battery
    states: [round, flat_pack]
    shares: [0.6, 0.4]
    mark: reasoned

rails:
  feed:
    label: feed at the bulb
    states: ["there", gone]
    given: [battery, contact]
    rule:
      - {{when: {{battery: flat}}, is: gone}}
      - {{when: {{contact: broken}}, is: gone}}
      - {{is: there}}
  light:
    label: light
    states: [lit, unlit]
    given: [bulb, feed]
    rule:
      - {{when: {{bulb: ok, feed: there}}, is: lit}}
      - {{is: unlit}}

nominal: {{volts: 10, from_volts: 5, to_volts: 20, input_rails_volts: [4], mark: practice}}

observations:
  reported:
    label: what is reported
    states: [dark, fine]
    given: [light, contact]
    mark: reasoned
    table:
      - {{when: {{light: unlit}}, p: [0.9, 0.1]}}
      - {{when: {{contact: dirty}}, p: [0.5, 0.5]}}
      - {{p: [0.01, 0.99]}}
  seen_again:
    label: looking again
    states: [dark, lit]
    given: [light, contact]
    mark: reasoned
    table:
      - {{when: {{light: unlit}}, p: [0.95, 0.05]}}
      - {{when: {{contact: dirty}}, p: [0.6, 0.4]}}
      - {{p: [0.02, 0.98]}}
  filament:
    label: bulb by ohmmeter
    states: [conducts, open, short]
    given: [bulb]
    needs_symptom: false
    mark: reasoned
    table:  # an ohmmeter that never errs: rows that hold something impossible
      - {{when: {{bulb: burnt}}, p: [0, 1, 0]}}
      - {{when: {{bulb: shorted}}, p: [0, 0, 1]}}
      - {{p: [1, 0, 0]}}
  glow:
    label: glow when tapped
    states: [glows, stays_dark]
    given: [light, contact, age]
    mark: reasoned
    table:
      - {{when: {{contact: dirty, age: old}}, p: [0.7, 0.3]}}
      - {{when: {{contact: dirty}}, p: [0.5, 0.5]}}
      - {{when: {{light: lit}}, p: [0.9, 0.1]}}
      - {{p: [0.05, 0.95]}}
  feed_voltage:
    label: voltage at the bulb
    kind: reading
    states: [none, there]
    given: [feed]
    mark: reasoned
    table:
      - {{when: {{feed: gone}}, p: [0.95, 0.05]}}
      - {{p: [0.05, 0.95]}}
    reading:
      unit: V
      given: [battery_kind]
      hold: steady
      outliers: {{share: 0.03, up_to_volts: 40}}
      mark: reasoned
      levels:
        none: [{{mix: [{{normal: [0, 0.02]}}]}}]
        there:
          - {{when: {{battery_kind: round}}, mix: [{{normal: [1, 0.05]}}]}}
          - {{when: {{battery_kind: flat_pack}}, mix: [{{normal: [0.9, 0.05]}}]}}
  scale:
    label: weighing the battery
    states: [light, heavy]
    given: [battery_kind]
    mark: reasoned
    table:
      - {{when: {{battery_kind: round}}, p: [0.8, 0.2]}}
      - {{p: [0.3, 0.7]}}

cautions:
  glass: Thin glass.
  hot: The bulb may be hot.
  trained: For trained people.
  open_case: Unplug first.

setups:
  - {{change: cover=off, label: open it, minutes: 5, hazard: 1, cautions: [open_case], mark: reasoned}}
  - {{change: cover=on, label: close it, minutes: 3, hazard: 1, cautions: [open_case], mark: reasoned}}
  - {{change: mains=off, label: switch off, minutes: 0, hazard: 0, cautions: [], mark: reasoned}}
  - change: mains=on
    label: switch on
    minutes: 1
    hazard: 0
    hazard_cover_off: 2
    cautions: [hot, trained]
    mark: reasoned
  - {{change: mains=discharged, label: discharge, minutes: 2, hazard: 3, cautions: [trained], mark: reasoned}}
  - {{change: led_cable=out, label: lead out, minutes: 1, hazard: 1, cautions: [open_case], mark: reasoned}}
  - {{change: led_cable=in, label: lead in, minutes: 1, hazard: 1, cautions: [open_case], mark: reasoned}}
  - change: panel=opened
    label: open the glass
    minutes: 20
    minutes_large: 40
    hazard: 4
    cautions: [glass]
    mark: reasoned
  - {{change: panel=closed, label: close the glass, minutes: 15, hazard: 4, cautions: [glass], mark: reasoned}}

tests:
  seen_again: {{label: look again, minutes: 1, hazard: 0, needs: {{mains: on}}, mark: reasoned}}
  glow_and_scale:
    label: tap it, then weigh the battery
    reveals: [glow, scale]
    minutes: 2
    hazard: 0
    needs: {{mains: on}}
    after: [seen_again]
    mark: reasoned
  filament:
    label: measure the bulb
    minutes: 3
    hazard: 1
    needs: {{cover: off, mains: off}}
    after: [seen_again, [glow, scale]]
    cautions: [hot, open_case]
    mark: reasoned
  feed_voltage:
    label: measure the feed
    minutes: 2
    money: 0.5
    hazard: 3
    needs: {{cover: off, mains: on}}
    after: [seen_again]
    cautions: [trained, hot]
    mark: reasoned

repairs:
  new_bulb:
    label: a new bulb
    fixes: [bulb]
    success: 0.9
    minutes_by_size: [10, 20, 30, 40]
    parts: [[1, 2], [2, 4], [3, 6], [4, 8]]
    harm: [0.01, 0.02, 0.03, 0.04]
    comeback: 0.05
    hazard: 4
    needs: {{cover: off, mains: discharged, panel: opened}}
    after: [filament]
    cautions: [glass, hot]
    mark: reasoned
  new_battery:
    label: a new battery
    fixes: [battery]
    success: 0.95
    minutes_by_size: [2, 2, 2, 2]
    parts: [[5, 9], [5, 9], [5, 9], [5, 9]]
    harm: [0, 0, 0, 0]
    comeback: 0.02
    hazard: 0
    needs: {{}}
    after: [seen_again]
    mark: reasoned
  overhaul:
    label: bulb and switch together
    fixes: [bulb, contact]
    judged_by: far_end
    success: 0.8
    minutes_by_size: [30, 30, 30, 30]
    parts: [[5, 10], [5, 10], [5, 10], [5, 10]]
    harm: [0.01, 0.01, 0.01, 0.01]
    comeback: 0.05
    hazard: 1
    needs: {{cover: off, mains: off}}
    cautions: [hot]
    mark: reasoned
"""


def lamp_text(
    *, collateral: str = PLAIN, odds: str = PLAIN, strength: float = 20, second_fault_share: float = 0.1
) -> str:
    """The file of the lamp, with or without a collateral link and a condition that carries odds factors."""
    return _TEXT.format(collateral=collateral, odds=odds, strength=strength, second_fault_share=second_fault_share)


def read_text(text: str) -> Model:
    """The model of a file with this text."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "model.yaml"
        path.write_text(text, encoding="utf-8")
        return load_model(str(path), use_cache=False)


def lamp(*, collateral: str = PLAIN, odds: str = PLAIN, strength: float = 20, second_fault_share: float = 0.1) -> Model:
    """The lamp."""
    return read_text(
        lamp_text(collateral=collateral, odds=odds, strength=strength, second_fault_share=second_fault_share)
    )
