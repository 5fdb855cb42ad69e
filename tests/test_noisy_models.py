"""Noisy forms in model files: the same answers as the tables they stand for, however many causes, and slips told."""

from dataclasses import replace
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from small_models import write_model

from faultnet.case import Case, parse_events
from faultnet.diagnosis import diagnose
from faultnet.errors import ModelProblem
from faultnet.files import load_model
from faultnet.model.draws import Draws
from faultnet.model.model import Model
from faultnet.noisy import MOST_ROWS_WRITTEN_OUT
from faultnet.ranking import rank_tests

HEAD = """\
id: machine
title: A machine that stops
complaint: {observation: reported, state: stops}
second_fault_share: 0.08
strength: {shares: 20, rows: 10}
components:
"""
TAIL = """\
setups:
  - {change: cover=off, label: open, minutes: 1, hazard: 1, cautions: [care], mark: reasoned}
  - {change: cover=on, label: close, minutes: 1, hazard: 1, cautions: [care], mark: reasoned}
  - {change: mains=off, label: off, minutes: 0, hazard: 0, mark: reasoned}
  - {change: mains=on, label: on, minutes: 1, hazard: 0, hazard_cover_off: 2, cautions: [care], mark: reasoned}
  - {change: mains=discharged, label: discharge, minutes: 1, hazard: 3, cautions: [care], mark: reasoned}
  - {change: led_cable=out, label: out, minutes: 1, hazard: 1, cautions: [care], mark: reasoned}
  - {change: led_cable=in, label: in, minutes: 1, hazard: 1, cautions: [care], mark: reasoned}
  - {change: panel=opened, label: open, minutes: 1, hazard: 4, cautions: [care], mark: reasoned}
  - {change: panel=closed, label: close, minutes: 1, hazard: 4, cautions: [care], mark: reasoned}
cautions: {care: Take care.}
tests:
  hum: {label: listen, minutes: 1, hazard: 0, mark: reasoned}
  heat: {label: feel, minutes: 1, hazard: 0, mark: reasoned}
"""
CAUSES = range(3)
HUM, LEAK = (0.4, 0.8, 0.9), 0.1
HEAT = ([0.5, 0.3, 0.2], [0.2, 0.6, 0.2], [0.1, 0.1, 0.8])
HEAT_LEAK = [0.9, 0.07, 0.03]


def machine(observations: str, n_parts: int = 3) -> str:
    """A model file with so many parts; `reported` is a noisy-OR of all of them."""
    share = 1 / n_parts
    parts = "".join(
        f"  part_{n}: {{label: part {n}, modes: {{worn: {{label: worn, share: {share!r}, mark: reasoned}}}}}}\n"
        for n in range(n_parts)
    )
    links = "".join(f"        - {{cause: part_{n}, when: worn, chance: 0.9}}\n" for n in range(n_parts))
    reported = (
        "observations:\n  reported:\n    label: what is reported\n    states: [runs, stops]\n    mark: reasoned\n"
        f"    noisy_or:\n      present: stops\n      leak: 0.02\n      links:\n{links}"
    )
    return HEAD + parts + reported + observations + TAIL


def noisy(*, with_leak: bool = False) -> str:
    """Hum as a noisy-OR, heat as a noisy-MAX; with the leak in the elicited numbers, or without."""
    hum = [1 - (1 - p) * (1 - LEAK) if with_leak else p for p in HUM]
    at_most = [np.cumsum(p) * (np.cumsum(HEAT_LEAK) if with_leak else 1) for p in HEAT]
    heat = [np.diff(own, prepend=0).round(12).tolist() for own in at_most]
    asked = f"      asked_with_leak: {str(with_leak).lower()}\n"
    links = "".join(f"        - {{cause: part_{n}, when: worn, chance: {hum[n]!r}}}\n" for n in CAUSES)
    effects = "".join(
        f"        - {{cause: part_{n}, when: [worn], p: {[heat[n][0], heat[n][2], heat[n][1]]!r}}}\n" for n in CAUSES
    )
    return (
        "  hum:\n    label: hum\n    states: [hums, silent]\n    mark: reasoned\n"
        f"    noisy_or:\n      present: hums\n      leak: {LEAK}\n{asked}      links:\n{links}"
        "  heat:\n    label: heat\n    states: [cold, hot, warm]\n    mark: reasoned\n"
        f"    noisy_max:\n      order: [cold, warm, hot]\n      leak: {[HEAT_LEAK[n] for n in (0, 2, 1)]}\n{asked}"
        f"      effects:\n{effects}"
    )


def written_out() -> str:
    """The same as tables: each combination of causes by the definition, the strongest of independent effects."""
    given = "    given: [part_0, part_1, part_2]\n    mark: reasoned\n    table:\n"
    hum = heat = ""
    for causes in product((0, 1), repeat=3):
        when = ", ".join(f"part_{n}: {'worn' if on else 'ok'}" for n, on in enumerate(causes))
        silent = (1 - LEAK) * np.prod([1 - HUM[n] for n in CAUSES if causes[n]])
        hum += f"      - {{when: {{{when}}}, p: [{float(1 - silent)!r}, {float(silent)!r}]}}\n"
        at_most = np.cumsum(HEAT_LEAK) * np.prod(
            [np.cumsum(HEAT[n]) for n in CAUSES if causes[n]] or [[1, 1, 1]], axis=0
        )
        cold, warm, hot = np.diff(at_most, prepend=0).tolist()
        heat += f"      - {{when: {{{when}}}, p: [{cold!r}, {hot!r}, {warm!r}]}}\n"
    return (
        f"  hum:\n    label: hum\n    states: [hums, silent]\n{given}{hum}"
        f"  heat:\n    label: heat\n    states: [cold, hot, warm]\n{given}{heat}"
    )


def loaded(text: str, folder: Path, engine: str = "auto") -> Model:
    return replace(load_model(write_model(folder, text), use_cache=False), engine=engine)


EVIDENCE: list[tuple[str, ...]] = [
    (),
    ("hum=hums",),
    ("hum=silent", "heat=warm"),
    ("heat=hot:0.7,warm:0.3", "hum=hums@not_showing"),
]


@pytest.mark.parametrize("entries", EVIDENCE)
@pytest.mark.parametrize("engine", ["table", "tree"])
@pytest.mark.parametrize("with_leak", [False, True])
def test_a_noisy_form_answers_as_its_table_does(
    entries: tuple[str, ...], engine: str, with_leak: bool, tmp_path: Path
) -> None:
    form = loaded(machine(noisy(with_leak=with_leak)), tmp_path, engine)
    table = loaded(machine(written_out()), tmp_path)
    answers = [diagnose(model, Case(parse_events(model, entries)), n_draws=20) for model in (form, table)]
    mine, other = ({(f.component, f.mode): f.probability for f in a.faults} for a in answers)
    assert mine == pytest.approx(other, abs=1e-10)
    assert answers[0].log_evidence == pytest.approx(answers[1].log_evidence, abs=1e-10)
    gains = [
        {t.test: (t.gain_bits, t.gain_repair_bits) for t in rank_tests(m, Case(parse_events(m, entries))).tests}
        for m in (form, table)
    ]
    assert gains[0].keys() == gains[1].keys()
    for test, gain in gains[0].items():
        assert gain == pytest.approx(gains[1][test], abs=1e-10)


def test_intervals_vary_the_links_of_a_noisy_form(tmp_path: Path) -> None:
    """Links are Betas with the strength of the file: their draws have its mean and spread."""
    model = loaded(machine(noisy()), tmp_path)
    drawn = Draws(model, 4000, 0).rows("hum")
    chance = np.array([LEAK, *HUM])
    np.testing.assert_allclose(drawn[..., 0].mean(axis=0), chance, atol=0.01)
    np.testing.assert_allclose(drawn[..., 0].var(axis=0), chance * (1 - chance) / 11, rtol=0.1)
    answer = diagnose(model, Case(parse_events(model, ["hum=hums"])))
    for fault in answer.faults:
        assert fault.low <= fault.probability <= fault.high
    assert all(f.high - f.low > 0.05 for f in answer.faults)


@pytest.mark.parametrize("entries", [("hum=hums",), ("hum=silent",), ("heat=hot", "hum=hums@not_showing")])
def test_more_causes_than_may_be_written_out(entries: tuple[str, ...], tmp_path: Path) -> None:
    n_parts = 17
    assert 2**n_parts > MOST_ROWS_WRITTEN_OUT
    both = [loaded(machine(noisy(), n_parts), tmp_path, engine) for engine in ("table", "tree")]
    answers = [diagnose(m, Case(parse_events(m, entries)), n_draws=20) for m in both]
    mine, other = ({(f.component, f.mode): f.probability for f in a.faults} for a in answers)
    assert mine == pytest.approx(other, abs=1e-10)
    assert sum(f.probability for f in answers[0].faults if f.mode == "worn") > 0.9


SLIPS: list[tuple[str, str, str, str]] = [
    ("present: hums", "present: humms", "observations.hum.noisy_or.present", "did you mean hums?"),
    ("leak: 0.1", "leak: 1", "observations.hum.noisy_or.leak", "less than 1"),
    ("{cause: part_1, when", "{cause: part_9, when", "noisy_or.links[1].cause", "did you mean"),
    ("{cause: part_1, when: worn, chance: 0.8}", "{cause: part_1, when: wrn, chance: 0.8}", "links[1].when", "worn?"),
    ("{cause: part_1, when: worn, chance: 0.8}", "{cause: part_0, when: worn, chance: 0.8}", "links[1].when", "twice"),
    ("{cause: part_1, when: worn, chance: 0.8}", "{cause: part_1, when: worn, chance: 1.8}", "links[1].chance", "1.8"),
    ("order: [cold, warm, hot]", "order: [cold, warm]", "observations.heat.noisy_max.order", "each state once"),
    ("leak: [0.9, 0.03, 0.07]", "leak: [0.9, 0.03]", "noisy_max.leak", "2 probabilities for 3 states"),
    ("leak: [0.9, 0.03, 0.07]", "leak: [0, 0.93, 0.07]", "noisy_max.leak", "above 0"),
    ("leak: [0.9, 0.03, 0.07]", "leak: [0.9, 0.03, 0.08]", "noisy_max.leak", "add to 1.01"),
    ("p: [0.5, 0.2, 0.3]", "p: [0.5, 0.2, 0.4]", "effects[0].p", "add to 1.1"),
    ("states: [hums, silent]", "states: [hums, silent, roars]", "observations.hum.noisy_or", "use noisy_max"),
    ("    noisy_max:\n", "    given: [part_0]\n    noisy_max:\n", "observations.heat", "without `given`"),
    ("    noisy_max:\n", "    table: [{p: [1, 0, 0]}]\n    noisy_max:\n", "observations.heat", "exactly one of"),
    ("present: hums\n      leak: 0.1\n      asked_with_leak: false", "present: hums\n      leak: 0.6\n"
     "      asked_with_leak: true", "links[0].chance", "below the leak"),
    ("asked_with_leak: false\n      effects", "asked_with_leak: true\n      effects", "", ""),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "path", "says"), SLIPS)
def test_a_slip_in_a_noisy_form_is_told_where_it_stands(
    old: str, new: str, path: str, says: str, tmp_path: Path
) -> None:
    text = machine(noisy())
    assert old in text
    if not says:  # the elicited effects all lie above the leak: nothing to tell
        loaded(text.replace(old, new), tmp_path)
        return
    with pytest.raises(ModelProblem) as raised:
        loaded(text.replace(old, new, 1), tmp_path)
    told: list[Any] = [p for p in raised.value.problems if path in p.path and says in p.message]
    assert told, [str(p) for p in raised.value.problems]
    assert all(p.line > 0 for p in told)
