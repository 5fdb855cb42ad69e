"""The classifier keeps scikit-learn's contract, agrees with its naive Bayes, and says what the model says."""

import pickle
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from histories import backlight, made_up
from learners import model_of
from networks import import_published
from sklearn.base import clone
from sklearn.calibration import CalibratedClassifierCV, calibration_curve
from sklearn.dummy import DummyClassifier
from sklearn.metrics import log_loss
from sklearn.model_selection import GridSearchCV, StratifiedKFold, cross_val_predict, cross_val_score
from sklearn.naive_bayes import CategoricalNB
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import FunctionTransformer
from sklearn.utils.estimator_checks import parametrize_with_checks
from small_models import TINY, of_one_part

from faultnet import Case, FaultClassifier, diagnose, parse_events
from faultnet.case import believe
from faultnet.errors import TableProblem, UsageProblem
from faultnet.estimator.columns import Numbers, Words, learn_columns
from faultnet.estimator.forecast import forecast
from faultnet.estimator.table import Cells, Rows, read_rows
from faultnet.history.items import parted
from faultnet.history.row import row_of
from faultnet.learning.prepare import aim_at
from faultnet.model import Model
from faultnet.model.chances import SHARES, chances_of, with_chances
from faultnet.patterns import Pattern, Patterns
from faultnet.readings import Nominal

ALTERING = ("open_voltage", "strip_tester", "known_load", "diode_test")


@parametrize_with_checks([FaultClassifier()])  # none is expected to fail
def test_scikit_learn_s_own_checks(estimator: FaultClassifier, check: Any) -> None:
    check(estimator)


# -- made-up jobs ----------------------------------------------------------------------------------------------------


@cache
def jobs(n: int) -> tuple[pd.DataFrame, np.ndarray]:
    """What an invented shop wrote down before its first repairs, and a fault of each set, drawn where it had several.

    Only causes of at least eight sets.
    """
    model, rng = backlight(), np.random.default_rng(3)
    history = made_up(n)
    rows, causes = [], []
    for job, truth in zip(history.jobs, history.truths, strict=True):
        cells = row_of(job, model)
        rows.append({name: cells[name] for name in (*model.observations, "nominal") if name in cells} | dict(job.given))
        causes.append(truth.faults[rng.integers(len(truth.faults))].split(".")[0] if truth.faults else "nothing_faulty")
    names, counts = np.unique(causes, return_counts=True)
    kept = np.isin(causes, names[counts >= 8])
    known = [*model.observations, *model.conditions, "nominal"]
    frame = pd.DataFrame(rows)
    return frame[[name for name in frame if name in known]][kept].reset_index(drop=True), np.array(causes)[kept]


def case_of(model: Model, row: pd.Series) -> Case:
    """The same as a person would type it: observations in the order of the file."""
    told = {name: cell for name, cell in row.items() if isinstance(cell, str)}
    texts = [f"{name}={item}" for name in model.observations if name in told for item in parted(told[name])]
    given = {name: told[name] for name in model.conditions if name in told}
    nominal = Nominal.label(float(told["nominal"])) if "nominal" in told else None
    return Case(parse_events(model, texts), given, nominal)


def parts(model: Model, joint: np.ndarray, names: Sequence[str]) -> np.ndarray:
    """P(name) by the joint states: of several faulty components a part each, written out state by state."""
    sizes = [len(c.states) for c in model.components.values()]
    found = dict.fromkeys(names, 0.0)
    for states, chance in zip(np.ndindex(*sizes), joint, strict=True):
        faulty = [c for c, state in zip(model.components, states, strict=True) if state]
        for name in faulty or ["nothing_faulty"]:
            if name in found:
                found[name] += chance / max(len(faulty), 1)
    chances = np.array(list(found.values()))
    return chances / chances.sum()


# -- as the model says -----------------------------------------------------------------------------------------------


def test_with_one_fault_at_a_time_the_chances_are_those_of_diagnose() -> None:
    """So rare that two at once are rarer than 1e-9; where nothing is faulty is no class here."""
    rare = tuple(1e-9 * odds for odds in backlight().compiled.odds.values())
    alone = replace(backlight(), root_odds=rare, collateral=())
    table, y = jobs(200)
    rows = y != "nothing_faulty"
    table, y = table.drop(columns=[name for name in ALTERING if name in table])[rows], y[rows]
    fitted = FaultClassifier(alone, learn_numbers=False).fit(table, y)
    for number in table.index[:4]:
        with np.errstate(all="ignore"):  # intervals have no second faults to be drawn around; nobody looks at them here
            told = diagnose(alone, case_of(alone, table.loc[number]), n_draws=2).faults
        faulty = {name: sum(f.probability for f in told if (f.component, f.mode != "ok") == (name, True)) for name in y}
        chances = np.array([faulty[name] for name in fitted.classes_])
        got = fitted.predict_proba(table.loc[[number]])[0]
        assert got == pytest.approx(chances / chances.sum(), abs=1e-9)


def test_of_several_faults_each_has_a_part_given_that_a_class_is_it() -> None:
    table, y = jobs(200)
    table = table.drop(columns=[name for name in ALTERING if name in table])
    for names in (sorted(set(y)), ["driver", "panel", "strips"]):
        rows = np.isin(y, names)
        fitted = FaultClassifier("backlight", learn_numbers=False).fit(table[rows], y[rows])
        assert fitted.classes_.tolist() == names
        got = fitted.predict_proba(table[:25])
        for number in range(25):
            joint = believe(backlight(), case_of(backlight(), table.loc[number])).targets
            assert got[number] == pytest.approx(parts(backlight(), joint, names), abs=1e-9)


def test_a_cause_is_that_of_the_set_as_it_came_in_whatever_tests_altered() -> None:
    """Learning works the same out on another road: expected jobs in each state at intake."""
    table, y = jobs(200)
    table = table[table.open_voltage.notna()]
    fitted = FaultClassifier("backlight", learn_numbers=False).fit(table, y[table.index])
    model, names = fitted.model_, fitted.classes_.tolist()
    rows = read_rows(Cells.of(table[:12].to_numpy(), list(table), list(table.index[:12])), fitted.reader_)
    shifts = []
    for pattern, got in zip(rows.patterns, fitted.predict_proba(table[:12]), strict=True):
        history = aim_at(model, Patterns.of(model.id, [(pattern, 1.0)])).history
        joint = history.expect(history.frame.own).roots.sum(axis=0)
        assert got == pytest.approx(parts(model, joint, names), abs=1e-5)  # learning leaves out the rarest states
        now = parts(model, model.compiled.engine.belief(pattern.steps(model)).targets, names)
        shifts.append(np.abs(got - now).max())
    assert max(shifts) > 1e-3


def test_a_fitted_model_can_be_diagnosed_with() -> None:
    table, y = jobs(200)
    fitted = FaultClassifier("backlight", learn_numbers=False).fit(table, y)
    case = case_of(backlight(), table.loc[0])
    before, after = (diagnose(model, case, n_draws=2) for model in (backlight(), fitted.model_))
    assert [f.probability for f in after.faults] == pytest.approx([f.probability for f in before.faults], abs=1e-12)


def test_infinite_strength_and_no_learning_are_the_same() -> None:
    table, y = jobs(200)
    one = FaultClassifier("backlight", strength=np.inf).fit(table, y).predict_proba(table[:5])
    two = FaultClassifier("backlight", learn_numbers=False).fit(table, y).predict_proba(table[:5])
    assert np.array_equal(one, two)


def test_more_strength_keeps_the_numbers_nearer_to_the_model() -> None:
    model = model_of(TINY)
    table, y = pd.DataFrame({"look": ["dark"] * 40}), ["lamp"] * 10 + ["supply"] * 30
    own = model.observations["look"].table[0].probabilities[0]
    rows = [
        FaultClassifier(model, strength=s).fit(table, y).model_.observations["look"].table[0] for s in (0.5, 5, 500)
    ]
    away = [row.probabilities[0] - own for row in rows]
    assert away[0] > away[1] > away[2] > 0


def test_numbers_in_y_stand_for_causes() -> None:
    table, y = jobs(200)
    names, codes = np.unique(y, return_inverse=True)
    by_name = FaultClassifier("backlight", learn_numbers=False).fit(table, y)
    by_code = FaultClassifier("backlight", learn_numbers=False, causes=names).fit(table, codes)
    assert by_code.classes_.tolist() == list(range(len(names)))
    assert np.array_equal(by_code.predict_proba(table[:5]), by_name.predict_proba(table[:5]))
    with pytest.raises(ValueError, match="y: 9: there is no such number in causes, which names 2"):
        FaultClassifier("backlight", causes=["strips", "panel"]).fit(table[:2], [1, 9])
    with pytest.raises(ValueError, match="y: 0: a number; say with causes"):
        FaultClassifier("backlight").fit(table[:2], [0, 1])


# -- learning --------------------------------------------------------------------------------------------------------


def test_certain_labels_are_counted() -> None:
    """A part that fails alone leaves nothing to doubt: `look` and `volts` have rows for no light and for no feed."""
    model = model_of(of_one_part())
    table = pd.DataFrame(
        {"look": ["dark"] * 7 + ["lit"] * 2 + [None] * 3, "volts": ["zero"] * 4 + ["normal"] * 7 + [None]}
    )
    y = ["lamp.shorted"] * 5 + ["lamp.open"] * 7
    learned = FaultClassifier(model).fit(table, y).model_.observations
    no_light, light = (row.probabilities for row in learned["look"].table)
    assert no_light == pytest.approx([(7 + 5 * 0.95) / (9 + 5), (2 + 5 * 0.05) / (9 + 5)], abs=1e-12)
    assert light == pytest.approx([0.02, 0.98], abs=1e-12)
    no_feed, feed = (row.probabilities for row in learned["volts"].table)
    assert no_feed == pytest.approx([(4 + 7 * 0.97) / (5 + 7), (1 + 7 * 0.03) / (5 + 7)], abs=1e-12)
    assert feed == pytest.approx([(0 + 5 * 0.04) / (6 + 5), (6 + 5 * 0.96) / (6 + 5)], abs=1e-12)


@pytest.mark.parametrize("of", ["components", "modes"])
def test_labels_as_often_as_the_model_says_change_nothing(of: str) -> None:
    """So they would not, did two faults count for a whole each: second faults would grow."""
    model = model_of(TINY)
    names = [*(model.components if of == "components" else map(str, model.modes)), "nothing_faulty"]
    blank = pd.DataFrame({"look": [None] * len(names)})
    as_is = FaultClassifier(model, learn_numbers=False).fit(blank, names)
    weights = 2000 * as_is.predict_proba(blank[:1])[0]
    learned = FaultClassifier(model).fit(blank, as_is.classes_, sample_weight=weights).model_
    assert learned.second_fault_share == pytest.approx(model.second_fault_share, abs=1e-4)
    assert list(learned.shares.values()) == pytest.approx(list(model.shares.values()), abs=1e-4)


def test_blank_rows_still_say_how_often_each_cause_is() -> None:
    blank = pd.DataFrame({"look": [np.nan] * 200, "volts": ["", None] * 100})
    y = ["lamp"] * 40 + ["supply"] * 150 + ["other"] * 10
    fitted = FaultClassifier(model_of(TINY)).fit(blank, y)
    lamp, other, supply = fitted.predict_proba(blank[:1])[0]
    assert (lamp, other, supply) == pytest.approx((40 / 200, 10 / 200, 150 / 200), abs=0.04)


@pytest.mark.parametrize("model", [None, TINY])
def test_weight_2_is_the_row_twice_and_weight_0_is_no_row(model: str | None) -> None:
    table = pd.DataFrame({"look": ["dark", "lit", None, "dark", "lit"], "volts": [0.1, 30, None, 28, 0]})
    y, weights = np.array(["lamp", "supply", "other", "supply", "lamp"]), np.array([2, 1, 3, 2, 0])
    classifier = FaultClassifier(None if model is None else model_of(model))
    weighted = clone(classifier).fit(table, y, sample_weight=weights)
    repeated = clone(classifier).fit(table.loc[np.repeat(table.index, weights)], np.repeat(y, weights))
    assert weighted.predict_proba(table) == pytest.approx(repeated.predict_proba(table), abs=1e-9)
    assert np.abs(clone(classifier).fit(table, y).predict_proba(table) - weighted.predict_proba(table)).max() > 1e-3


@pytest.mark.parametrize("model", [None, TINY])
def test_the_order_of_columns_and_rows_does_not_matter_and_a_blank_column_is_none(model: str | None) -> None:
    table = pd.DataFrame({"look": ["dark", "lit", None, "dark"] * 5, "volts": [0.1, 30, None, 28] * 5})
    y = np.array(["lamp", "supply", "other", "supply"] * 5)
    classifier = FaultClassifier(None if model is None else model_of(model))
    whole = clone(classifier).fit(table, y).predict_proba(table)
    turned = clone(classifier).fit(table[::-1][["volts", "look"]], y[::-1]).predict_proba(table[["volts", "look"]])
    assert turned == pytest.approx(whole, abs=1e-7)
    without = clone(classifier).fit(table[["look"]], y).predict_proba(table[["look"]])
    blank = clone(classifier).fit(table.assign(volts=None), y).predict_proba(table.assign(volts=None))
    assert blank == pytest.approx(without, abs=1e-9)


def test_renamed_classes_permute_the_answer() -> None:
    rng = np.random.default_rng(5)
    table, y = rng.normal(size=(60, 3)), rng.integers(3, size=60)
    table[rng.random(table.shape) < 0.3] = np.nan
    first = FaultClassifier().fit(table, y).predict_proba(table)
    other = FaultClassifier().fit(table, np.array(["c", "a", "b"])[y])
    assert other.classes_.tolist() == ["a", "b", "c"]
    assert other.predict_proba(table)[:, [2, 0, 1]] == pytest.approx(first, abs=1e-12)


# -- without a model -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("n_states", "strength"), [(2, 1.0), (4, 6.0)])
def test_complete_categories_give_what_scikit_learn_s_naive_bayes_gives(n_states: int, strength: float) -> None:
    rng = np.random.default_rng(n_states)
    y = rng.integers(3, size=200)
    codes = (rng.integers(n_states, size=(200, 5)) + y[:, None] * (rng.random((200, 5)) < 0.4)) % n_states
    weights = rng.integers(1, 4, size=200)
    ours = FaultClassifier(strength=strength).fit(np.array(list("abcd"))[codes], y, sample_weight=weights)
    counts = np.bincount(y, weights)
    prior = (counts + strength / 3) / (counts.sum() + strength)
    theirs = CategoricalNB(alpha=strength / n_states, class_prior=prior).fit(codes, y, sample_weight=weights)
    got = ours.predict_proba(np.array(list("abcd"))[codes])
    assert got == pytest.approx(theirs.predict_proba(codes), abs=1e-9)


def test_numbers_are_cut_where_quantiles_of_the_rows_are() -> None:
    rng = np.random.default_rng(1)
    values, weights = rng.normal(size=100), rng.integers(0, 4, size=100).astype(float)
    cells = Cells.of(values[:, None], ["v"], range(100))
    (column,) = learn_columns(cells, weights, 5)
    assert isinstance(column, Numbers)
    expected = np.quantile(values, [0.2, 0.4, 0.6, 0.8], method="inverted_cdf", weights=weights)
    assert column.cuts == pytest.approx(expected)
    assert [column.state_of(v) for v in (-9.0, float(expected[0]), 9.0)] == ["bin_0", "bin_0", "bin_4"]


def test_numbers_that_are_said_to_be_categories_are_not_cut() -> None:
    numbers = [n % 20 for n in range(100)]
    y = [str(n % 20 % 2) for n in range(100)]
    cut = FaultClassifier(n_bins=3).fit(pd.DataFrame({"code": numbers}), y)
    kept = FaultClassifier(n_bins=3).fit(pd.DataFrame({"code": pd.Categorical(numbers)}), y)
    assert cut.score(pd.DataFrame({"code": numbers}), y) < 0.7
    assert kept.score(pd.DataFrame({"code": pd.Categorical(numbers)}), y) == 1.0
    assert isinstance(kept.reader_.columns[0], Words)


def test_a_value_never_seen_and_a_column_that_never_varied_say_nothing() -> None:
    table = pd.DataFrame({"a": ["u", "v", "u", "v"], "same": [1.0] * 4})
    fitted = FaultClassifier().fit(table, ["k", "l", "k", "k"])
    asked = pd.DataFrame({"a": ["new", None], "same": [1.0, 7.0]})
    assert fitted.predict_proba(asked) == pytest.approx(np.tile([[3.5 / 5, 1.5 / 5]], (2, 1)), abs=1e-12)


def test_one_class_alone_is_certain() -> None:
    assert FaultClassifier().fit([[1.0], [2.0]], ["k", "k"]).predict_proba([[5.0]]).tolist() == [[1.0]]
    with_model = FaultClassifier(model_of(TINY)).fit(pd.DataFrame({"look": ["dark"]}), ["lamp"])
    assert with_model.predict_proba(pd.DataFrame({"look": ["lit"]})).tolist() == [[1.0]]


# -- an imported network ---------------------------------------------------------------------------------------------


def test_an_imported_network_is_read_learned_and_asked_alike(tmp_path: Path) -> None:
    """The network of Lauritzen & Spiegelhalter 1988, whose parts can be faulty together."""
    _, model = import_published("asia", tmp_path)
    names, cells = ["bronc", "lung", "tub"], {"xray": ["yes", "no", None] * 10, "smoke": ["yes", None, "no"] * 10}
    table = pd.DataFrame(cells)
    as_is = FaultClassifier(model, learn_numbers=False).fit(table, names * 10)
    for number in range(3):
        texts = [f"{name}={own[number]}" for name, own in cells.items() if own[number]]
        joint = believe(model, Case(parse_events(model, texts))).targets
        assert as_is.predict_proba(table)[number] == pytest.approx(parts(model, joint, names), abs=1e-12)
    learned = FaultClassifier(model).fit(table, names * 10)
    assert log_loss(names * 10, learned.predict_proba(table)) < log_loss(names * 10, as_is.predict_proba(table)) - 0.2


# -- what goes wrong -------------------------------------------------------------------------------------------------


def test_everything_wrong_is_named_at_once() -> None:
    table = pd.DataFrame(
        {
            "sound": ["present", "presnt", "presnt"],
            "flashlight": [None, 3.5, "image_seen"],
            "age_band": ["under_2_years", "", "ancient"],
            "nominal": [54, "many", -3],
            "replace_strips": ["works", None, None],
            "strips": [None, None, None],
            "loudness": [None, None, None],
        },
        index=["j1", "j2", "j3"],
    )
    with pytest.raises(TableProblem) as raised:
        FaultClassifier("backlight").fit(table, ["strips", "strip", "strips.open"])
    told = raised.value.problems
    assert isinstance(raised.value, ValueError)
    wanted = [
        "y: strip: backlight has no such component or failure mode; did you mean strips",
        "y: strips.open and strips are about the same sets",
        "column replace_strips: a repair",
        "column strips: a part",
        "column loudness: backlight has no such observation or condition",
        "row j2, column sound: sound=presnt: unknown state",
        "row j2, column flashlight: flashlight=3.5: flashlight takes no volts",
        "row j2, column nominal: many is no voltage",
        "row j3, column sound: sound=presnt: unknown state",
        "row j3, column age_band: age_band=ancient: unknown state",
        "row j3, column nominal: -3 is no voltage",
    ]
    assert [start for start in wanted if not any(line.startswith(start) for line in told)] == []
    assert len(told) == len(wanted)


def test_words_for_parameters_out_of_range_and_tables_without_names() -> None:
    table, y = pd.DataFrame({"look": ["dark", "lit"]}), ["lamp", "supply"]
    for told, about in [
        (FaultClassifier(strength=0), "strength"),
        (FaultClassifier(n_bins=1), "n_bins"),
        (FaultClassifier(learn_numbers=False), "without a model"),
        (FaultClassifier(causes=["a", "a"]), "causes"),
    ]:
        with pytest.raises(ValueError, match=about):
            told.fit(table, y)
    with pytest.raises(ValueError, match="data frame"):
        FaultClassifier(model_of(TINY)).fit(table.to_numpy(), y)
    with pytest.raises(ValueError, match="zero"):
        FaultClassifier().fit(table, y, sample_weight=[0, 0])
    twice = pd.DataFrame({"torch": ["image_seen"], "flashlight": ["image_seen"]})
    with pytest.raises(TableProblem, match="column flashlight: it says the same as column torch"):
        FaultClassifier("backlight").fit(twice, ["strips"])
    with pytest.raises(TableProblem, match=r"row 1, column v: .* is no text and no number"):
        FaultClassifier().fit(pd.DataFrame({"v": [1.0, {"a": 1}]}), y)
    with pytest.raises(TableProblem, match="row 1, column v: 'x' is no number"):
        FaultClassifier().fit(pd.DataFrame({"v": [1.0, 2.0]}), y).predict(pd.DataFrame({"v": [1, "x"]}))


def test_rows_that_the_model_holds_impossible_are_named() -> None:
    model = model_of(TINY)
    fitted = FaultClassifier(model, learn_numbers=False).fit(pd.DataFrame({"look": ["dark"]}), ["lamp"]).model_
    events = parse_events(model, ["look=dark:0,lit:1"])
    rows = Rows((Pattern(()), Pattern(tuple(events))), np.array([0, 1, 1]))
    assert forecast(fitted, rows, ["a", "b", "c"]).shape == (3, 1)
    never = replace(fitted, observations={**fitted.observations, "look": _certain(fitted, "look")})
    with pytest.raises(TableProblem, match="row b: tiny holds what was seen there impossible"):
        forecast(never, rows, ["a", "b", "c"])


def test_too_many_parts_at_once_are_refused_in_words(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("faultnet.model.named.MOST_STATES", 11)
    with pytest.raises(UsageProblem, match="tiny has 12 joint states"):
        FaultClassifier(model_of(TINY)).fit(pd.DataFrame({"look": ["dark"]}), ["lamp"])


def _certain(model: Model, observation: str) -> Any:
    seen = model.observations[observation]
    return replace(seen, table=tuple(replace(row, probabilities=(1.0, 0.0)) for row in seen.table))


# -- with the rest of scikit-learn -----------------------------------------------------------------------------------


def test_it_can_be_cloned_pickled_and_searched_over() -> None:
    table, y = jobs(200)
    fitted = FaultClassifier(backlight(), learn_numbers=False).fit(table, y)
    assert np.array_equal(pickle.loads(pickle.dumps(fitted)).predict_proba(table[:5]), fitted.predict_proba(table[:5]))
    assert clone(fitted).get_params()["model"] == backlight()
    numbers = np.column_stack([np.arange(60) % 7, np.arange(60) % 3]).astype(float)
    grid = GridSearchCV(make_pipeline(FunctionTransformer(), FaultClassifier()), {"faultclassifier__n_bins": [2, 3]})
    assert grid.fit(numbers, np.arange(60) % 3).best_params_ == {"faultclassifier__n_bins": 3}


def test_learning_mends_a_model_whose_shares_are_wrong() -> None:
    table, y = jobs(200)
    shares = next(each for each in chances_of(backlight()) if each.id == SHARES)
    wrong = with_chances(backlight(), [replace(shares, means=shares.means[::-1])], "backlight@wrong")
    half = np.arange(len(y)) % 2 == 0
    losses = [
        log_loss(y[~half], FaultClassifier(wrong, strength=s).fit(table[half], y[half]).predict_proba(table[~half]))
        for s in (np.inf, 1.0)
    ]
    assert losses[1] < losses[0] - 0.2


def test_scores_beat_the_shares_alone_and_calibration_runs() -> None:
    table, y = jobs(200)
    split = StratifiedKFold(2, shuffle=True, random_state=0)
    own, prior = (
        cross_val_score(each, table, y, cv=split, scoring="neg_log_loss", error_score="raise").mean()
        for each in (FaultClassifier("backlight"), DummyClassifier(strategy="prior"))
    )
    assert own > prior + 0.2
    as_is = FaultClassifier("backlight", learn_numbers=False, causes=sorted(set(y)))  # it is passed numbers
    chances = cross_val_predict(as_is, table, y, cv=split, method="predict_proba")
    strips = chances[:, sorted(set(y)).index("strips")]
    shares, means = calibration_curve(y == "strips", strips, n_bins=5)
    assert np.corrcoef(shares, means)[0, 1] > 0.8
    calibrated = CalibratedClassifierCV(FaultClassifier("backlight", learn_numbers=False), cv=split).fit(table, y)
    assert calibrated.predict_proba(table[:20]).sum(axis=1) == pytest.approx(np.ones(20))


def test_rows_of_which_nobody_says_the_cause_are_named() -> None:
    table = pd.DataFrame({"sound": ["present", None, "absent"]})
    with pytest.raises(TableProblem, match=r"nobody says the cause of rows 1, 2 \(from 0\): leave them out"):
        FaultClassifier("backlight").fit(table, ["strips", None, None])
