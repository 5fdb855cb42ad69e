"""The shipped model, all of it, against brute force over its 10.6 million worlds and against two other libraries.

Brute force (brute.py) reads the parts of the model itself, so it checks how networks are built as well as the engine.
Events that another one replaces are left out by hand.
"""

from collections.abc import Sequence
from functools import cache
from math import log

import numpy as np
import pytest
from bridges import import_pgmpy, import_pyagrum, to_pgmpy, to_pyagrum
from brute import Answers, Worlds
from labels import label
from unaltered import without_alterations

from faultnet.case import Case, believe, parse_events
from faultnet.case.steps import case_steps
from faultnet.cpt import Table
from faultnet.engine.evidence import Likelihood, Step
from faultnet.files import load_model
from faultnet.model.model import Model
from faultnet.network import Network, Node

CONFIRMED = ("sound=present", "flashlight=image_seen")

# For each: events as entered, the numbers of those that count, and what else is known of the case.
CASES: dict[str, tuple[tuple[str, ...], tuple[int, ...] | None, dict[str, object]]] = {
    "nothing": ((), None, {}),
    "no complaint": ((), None, {"with_complaint": False}),
    "confirmed": (CONFIRMED, None, {}),
    "given conditions": (
        CONFIRMED,
        None,
        {
            "given": {
                "age_band": "over_10_years",
                "event_before": "surge",
                "off_output": "rail",
                "driver_policy": "retry",
            }
        },
    ),
    "hard": (
        (
            *CONFIRMED,
            "startup_flash=flash_then_off",
            "loaded_voltage=off_level",
            "open_voltage=rises_then_off",
            "bl_on=high",
        ),
        None,
        {},
    ),
    "soft": (
        (
            *CONFIRMED,
            "startup_flash=flash_then_off:0.7,none:0.3",
            "visual=bulged_cap:0.5,nothing:0.5",
            "bl_on=low:0.9,high:0.2",
        ),
        None,
        {"with_complaint": False},
    ),
    "superseded": (
        (
            "flashlight=no_image",
            "sound=present",
            "startup_flash=none",
            "flashlight=image_seen",
            "startup_flash=flash_then_off:1,none:0.2",
        ),
        (1, 3, 4),
        {},
    ),
    "readings, nominal known": (
        (*CONFIRMED, "loaded_voltage=0.4,0.3", "open_voltage=61", "loaded_voltage_peak=59.5"),
        None,
        {"nominal": label(54.0)},
    ),
    "readings, nominal unknown": ((*CONFIRMED, "loaded_voltage=24.1", "open_voltage=24.3,24.2@settled"), None, {}),
    "not showing": (
        (
            "sound=present",
            "flashlight=image_seen@not_showing",
            "loaded_voltage=88.5@not_showing",
            "visual=nothing@not_showing",
            "open_voltage=104@unknown",
            "strip_tester=abnormal@unknown",
        ),
        None,
        {"nominal": label(88.0)},
    ),
    "a repair in between": (
        (
            *CONFIRMED,
            "loaded_voltage=0",
            "strip_tester=dark",
            "replace_strips=not",
            "loaded_voltage=0",
            "feed_rail=missing",
        ),
        None,
        {"nominal": label(37.0), "given": {"age_band": "under_2_years"}},
    ),
    "two repairs at once, one of them again, and replugging": (
        (
            *CONFIRMED,
            "loaded_voltage=0",
            "open_voltage=61",
            "strip_tester=dark",
            "replace_strips+replace_driver=not",
            "loaded_voltage_peak=57",
            "open_voltage=59",
            "bl_on=high",
            "replace_strips=not",
            "feed_rail=ok",
            "strip_tester=all_light_ok",
        ),
        None,
        {"nominal": label(54.0)},
    ),
    "seen again after useless repairs, nominal unknown": (
        (
            *CONFIRMED,
            "known_load=drives_load",
            "loaded_voltage=0.2",
            "replace_strips=not",
            "known_load=does_not",
            "open_voltage=33",
            "reset_settings=not",
            "known_load=drives_load:0.8,does_not:0.1",
            "flashlight=image_seen",
        ),
        (0, 1, 5, 3, 4, 6, 7, 8, 9),
        {},
    ),
    "two repairs": (
        (
            "sound=present",
            "replace_driver=not",
            "flashlight=image_seen",
            "repair_cable=works",
            "startup_flash=stays_lit",
        ),
        None,
        {},
    ),
}
every_case = pytest.mark.parametrize("name", CASES)


@cache
def backlight() -> Model:
    return load_model("backlight")


@cache
def worlds() -> Worlds:
    return Worlds(backlight())


def case_named(name: str, *, counted_only: bool = False) -> Case:
    texts, counted, known = CASES[name]
    if counted_only and counted is not None:
        texts = tuple(texts[number] for number in counted)
    return Case(parse_events(backlight(), texts), **known)  # type: ignore[arg-type]


def of_one_time(name: str) -> list[Step]:
    """The steps of a case as other libraries can take them: evidence, and no changes of the set."""
    return case_steps(without_alterations(backlight()), case_named(name))


def test_brute_force_sees_every_world_once() -> None:
    # 4,608 joint states of the components, 72 of the odds conditions, 32 of the others
    assert worlds().prior.shape == (72, 4608 * 32)
    assert pytest.approx(1, abs=1e-12) == worlds().prior.sum()


@every_case
def test_everything_asked_of_the_shipped_model_agrees_with_brute_force(name: str) -> None:
    model = backlight()
    answers = Answers(worlds(), case_named(name, counted_only=True))
    belief = believe(model, case_named(name))
    assert pytest.approx(answers.log_evidence, abs=1e-10) == belief.log_evidence
    np.testing.assert_allclose(belief.targets, answers.joint_of_components(), rtol=0, atol=1e-10)
    for node in (*model.components, *model.conditions, *model.rails, *model.observations, "set_works"):
        np.testing.assert_allclose(belief.marginal(node), answers.marginal(node), rtol=0, atol=1e-10, err_msg=node)
    needs_work = model.compiled.needs_work
    for test in model.tests.values():
        assert pytest.approx(answers.gain_bits(test.reveals), abs=1e-10) == belief.gain_bits(test.reveals), test.id
        gain = belief.gain_bits(test.reveals, needs_work)
        assert pytest.approx(answers.gain_repair_bits(test.reveals), abs=1e-10) == gain, test.id


@pytest.mark.parametrize(
    "pair", [("loaded_voltage", "open_voltage"), ("startup_flash", "loaded_voltage_peak"), ("blink_code", "bl_on")]
)
def test_two_observations_priced_together_agree_with_brute_force(pair: tuple[str, str]) -> None:
    # each pair shares a condition: output when off and driver policy, number of strings, fault reaction
    for name in ("confirmed", "readings, nominal known"):
        answers, belief = Answers(worlds(), case_named(name)), believe(backlight(), case_named(name))
        assert pytest.approx(answers.gain_bits(pair), abs=1e-10) == belief.gain_bits(pair)
        np.testing.assert_allclose(belief.outcomes(pair), answers.outcomes(pair), rtol=0, atol=1e-10)


# -- second opinions ---------------------------------------------------------------------------------------------------


def with_likelihoods(network: Network, steps: Sequence[Step]) -> tuple[Network, dict[str, str], float]:
    """The network with a node `seen_i` for every soft step, true when it was seen; the evidence; log of the scale."""
    nodes, evidence, log_scale = list(network), {}, 0.0
    for number, step in enumerate(steps):
        assert isinstance(step, Likelihood)
        assert step.showing == 1
        hard = np.flatnonzero(step.table)
        if len(step.nodes) == 1 and len(hard) == 1:
            evidence[step.nodes[0]] = network[step.nodes[0]].states[int(hard[0])]
            continue
        p = step.table / step.table.max()
        log_scale += log(step.table.max())
        evidence[f"seen_{number}"] = "true"
        nodes.append(Node(f"seen_{number}", ("false", "true"), step.nodes, Table.full(np.stack([1 - p, p], axis=-1))))
    return Network.of(nodes), evidence, log_scale


@pytest.mark.parametrize("name", ["hard", "given conditions"])
def test_components_of_the_shipped_model_agree_with_pgmpy(name: str) -> None:
    network, evidence, _ = with_likelihoods(backlight().compiled.network, of_one_time(name))
    belief = backlight().compiled.engine.belief(of_one_time(name))
    _, _, elimination = import_pgmpy()
    theirs = to_pgmpy(network)
    for component in ("strips", "driver", "settings"):
        answer = elimination(theirs).query([component], evidence=evidence, show_progress=False)
        assert list(network[component].states) == answer.state_names[component]
        np.testing.assert_allclose(belief.marginal(component), answer.values, rtol=0, atol=1e-10, err_msg=component)


@pytest.mark.parametrize(
    "name", ["confirmed", "hard", "soft", "given conditions", "readings, nominal known", "readings, nominal unknown"]
)
def test_every_node_of_the_shipped_model_agrees_with_pyagrum(name: str) -> None:
    network, evidence, log_scale = with_likelihoods(backlight().compiled.network, of_one_time(name))
    belief = backlight().compiled.engine.belief(of_one_time(name))
    inference = import_pyagrum().LazyPropagation(to_pyagrum(network))
    inference.setEvidence(evidence)
    inference.makeInference()
    assert pytest.approx(belief.log_evidence, abs=1e-7) == log(inference.evidenceProbability()) + log_scale
    for node in backlight().compiled.network:
        if node.id not in evidence and node.id in (
            *backlight().components,
            *backlight().conditions,
            *backlight().rails,
        ):
            theirs = inference.posterior(node.id).toarray().reshape(-1)
            np.testing.assert_allclose(belief.marginal(node.id), theirs, rtol=0, atol=1e-7, err_msg=node.id)
