"""What every shipped model promises: marks on its numbers, cautions where something can hurt, no dangerous advice."""

import re

import pytest

from faultnet.diagnosis.fit import strange_names
from faultnet.files import list_models, load_model
from faultnet.model import Model

SHIPPED = sorted(list_models())


@pytest.fixture(scope="module", params=SHIPPED)
def shipped(request: pytest.FixtureRequest) -> Model:
    return load_model(request.param)


def marks_of(model: Model) -> list[str]:
    """The mark of every number that a person may ask about."""
    marks = [mode.mark for component in model.components.values() for mode in component.modes]
    marks += [condition.mark for condition in model.conditions.values()]
    marks += [link.mark for link in model.collateral]
    marks += [row.mark for seen in model.observations.values() for row in seen.table]
    marks += [seen.reading.mark for seen in model.observations.values() if seen.reading]
    marks += [work.mark for work in [*model.tests.values(), *model.repairs.values()]]
    return [*marks, *([model.nominal.mark] if model.nominal else [])]


def test_every_number_of_a_shipped_model_says_where_it_comes_from(shipped: Model) -> None:
    marks = marks_of(shipped)
    assert len(marks) > 20
    assert [mark for mark in marks if not re.fullmatch(r"practice|reasoned|published: \S.+", mark)] == []


def test_whatever_can_hurt_has_its_cautions(shipped: Model) -> None:
    steps = {**shipped.tests, **shipped.repairs}
    assert [id_ for id_, step in steps.items() if step.hazard >= 1 and not step.cautions] == []
    changes = shipped.setups.values()
    assert [
        change.label for change in changes if max(change.hazard, change.hazard_open) >= 1 and not change.cautions
    ] == []
    assert sum(step.hazard >= 1 for step in steps.values()) > 5 or shipped.id == "intake"
    assert sum(max(change.hazard, change.hazard_open) >= 1 for change in changes) > 5


OVERRIDES = re.compile(
    r"\b(forc(e|es|ed|ing)|overrid\w+|bypass\w*|defeat\w*|disabl\w+ (the )?(protection|shutdown)"
    r"|(tie|pull)\w* \w+ (high|up)|bridg\w+|jumper\w*|short\w* (out|across|an?|the|one|each|single) (led|enable))\b",
    re.IGNORECASE,
)


def words_of(model: Model) -> dict[str, str]:
    """Everything that a model tells a person to do or look for, by the path it stands at."""
    words = {"about": model.about, "title": model.title}
    for id_, test in model.tests.items():
        words |= {f"tests.{id_}.label": test.label, f"tests.{id_}.how": test.how, f"tests.{id_}.side": test.side_effect}
    for id_, repair in model.repairs.items():
        words |= {f"repairs.{id_}.label": repair.label, f"repairs.{id_}.advice": repair.advice}
    for id_, seen in model.observations.items():
        words |= {f"observations.{id_}": " / ".join([seen.label, *seen.state_labels.values()])}
    return words | {f"setups.{part}={state}": change.label for (part, state), change in model.setups.items()}


def test_no_shipped_model_advises_to_override_a_shutdown_or_to_bridge_an_led(shipped: Model) -> None:
    assert {path: text for path, text in words_of(shipped).items() if OVERRIDES.search(text)} == {}


@pytest.mark.parametrize(
    "advice",
    ["Force BL_ON high", "tie it high", "bridge one LED", "short an LED", "bypass the relay", "disable the protection"],
)
def test_the_search_for_such_advice_would_find_it(advice: str) -> None:
    assert OVERRIDES.search(advice)


def test_the_shipped_models_are_these() -> None:
    assert SHIPPED == ["backlight", "backlight_combined", "intake"]


def test_what_a_shipped_model_says_of_other_models_is_so(shipped: Model) -> None:
    """Every model it goes on with exists, and the one it compares with knows each name and each state it can show."""
    if shipped.onward is not None:
        named = {name for continuation in shipped.onward.states.values() for name in continuation.models}
        assert named
        assert named <= set(SHIPPED)
    if shipped.comparison is not None:
        other = load_model(shipped.comparison.model)
        assert strange_names(shipped.comparison, other) == []
        for id_, known in shipped.comparison.findings.items():
            assert set(shipped.observations[id_].states) == set(known.states), id_
            theirs = {state for states in known.states.values() for state in states}
            assert set(other.observations[known.observation].states) == theirs, id_
    assert shipped.onward is not None or shipped.comparison is not None


def test_backlight_has_its_tests_and_parts() -> None:
    model = load_model("backlight")
    assert len(model.tests) >= 18
    assert {"strips", "led_cable", "driver", "supply", "main_board", "panel", "settings", "other"} <= set(
        model.components
    )
    assert all(mode.share > 0 for component in model.components.values() for mode in component.modes)
    assert sum(model.shares.values()) == pytest.approx(1, abs=1e-9)
