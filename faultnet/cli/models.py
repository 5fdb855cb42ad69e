"""`faultnet model list`, `show` and `check`."""

import json
from collections import Counter
from collections.abc import Iterator
from typing import Any

from faultnet.case import Case
from faultnet.case.entry import nearest
from faultnet.cli import imported
from faultnet.cli.picture import check_picture, write_picture
from faultnet.cli.terminal import bold, table, wrapped
from faultnet.diagnosis.explain import inseparable
from faultnet.diagnosis.fit import strange_names
from faultnet.engine.evidence import findings
from faultnet.engine.joint import JointEngine
from faultnet.errors import ModelProblem, Problem, UsageProblem
from faultnet.files import find_model_file, list_models, load_model
from faultnet.model import Model
from faultnet.words import percent
from faultnet.workshop.understanding import with_engine


def list_(*, as_json: bool) -> None:
    """Print the models that can be used by name."""
    models = [load_model(name) for name in list_models()]
    if as_json:
        listed = [{"id": m.id, "title": m.title, "version": m.version} for m in models]
        print(json.dumps({"models": listed}, indent=2))
        return
    for line in table([(m.id, m.version, m.title) for m in models], "lll"):
        print(line)


# -- show ------------------------------------------------------------------------------------------------------------


def show(name: str, *, picture: str, as_json: bool) -> None:
    """Print what a model is made of, and draw it where a picture is wanted."""
    check_picture(picture)
    model = load_model(name)
    if picture:
        from faultnet.pictures.network import network_picture

        write_picture(picture, network_picture(model))
    told, lines = (_show_json, _show_text) if not model.is_imported else (imported.show_json, imported.show_text)
    print(json.dumps(told(model), indent=2) if as_json else "\n".join(lines(model)))


def _show_json(model: Model) -> dict[str, Any]:
    return {
        "id": model.id,
        "title": model.title,
        "about": model.about,
        "version": model.version,
        "complaint": {"observation": model.complaint, "state": model.complaint_state} if model.complaint else None,
        "confirmed_by": dict(model.confirmed_by),
        "second_fault_share": model.second_fault_share,
        "components": {
            c.id: {
                "label": c.label,
                "modes": {m.id: {"label": m.label, "share": m.share, "mark": m.mark} for m in c.modes},
            }
            for c in model.components.values()
        },
        "conditions": {c.id: dict(zip(c.states, c.shares, strict=True)) for c in model.conditions.values()},
        "observations": {o.id: list(o.states) for o in model.observations.values()},
        "tests": {t.id: {"label": t.label, "minutes": t.minutes, "hazard": t.hazard} for t in model.tests.values()},
        "repairs": {r.id: {"label": r.label, "fixes": list(r.fixes)} for r in model.repairs.values()},
        "refuse": {r.id: dict(r.refused) for r in model.refusals.values()},
        "marks": marks(model),
    }


def marks(model: Model) -> dict[str, int]:
    """How many numbers of a model carry each mark: counted by share, table row, test, repair and condition."""
    counted = Counter(mode.mark for c in model.components.values() for mode in c.modes)
    counted.update(row.mark for o in model.observations.values() for row in o.written)
    for group in (model.tests, model.repairs, model.conditions):
        counted.update(item.mark for item in group.values())
    return dict(counted)


def _show_text(model: Model) -> Iterator[str]:
    yield bold(model.title)
    yield wrapped(f"{model.version}. {model.about}", 2)
    yield ""
    yield bold("Failure modes") + "  (share of the confirmed jobs that each causes)"
    rows = [
        (f"{c.id}.{m.id}", f"{100 * m.share:.2g} %", m.label, m.mark)
        for c in model.components.values()
        for m in c.modes
    ]
    yield from table(rows, "lrll")
    if len(model.components) > 1:
        yield f"  two or more parts faulty: {percent(model.second_fault_share)}"
    strength = model.strength
    yield f"  a share counts as {strength.shares_jobs:g} jobs already seen, a table row as {strength.rows_jobs:g}"
    yield ""
    yield bold("Conditions") + "  (--given NAME=STATE; else summed out)"
    for condition in model.conditions.values():
        states = ", ".join(f"{s} {percent(p)}" for s, p in zip(condition.states, condition.shares, strict=True))
        yield wrapped(f"{condition.id}, {condition.label}: {states}", 2, 6)
    yield ""
    yield from _refusals(model)
    yield from imported.tests_text(model)
    yield bold("Other names you may type")
    for seen in model.observations.values():
        names = dict.fromkeys((seen.short, *seen.also))
        yield wrapped(f"{seen.id}: {', '.join(names)}", 2, 6)
    yield ""
    if model.repairs:
        yield bold("Repairs")
        yield from table([(r.id, r.label) for r in model.repairs.values()], "ll")
        yield ""
    counted = ", ".join(f"{n} {mark}" for mark, n in marks(model).items())
    yield wrapped(f"Where the numbers come from: {counted}. Reasoned means: an estimate that nobody measured.", 0)


def _refusals(model: Model) -> Iterator[str]:
    """The sets that the model does not fit, and why."""
    for refusal in model.refusals.values():
        yield bold("Does not fit") + f"  ({refusal.label}; --given {refusal.id}=STATE)"
        yield from (wrapped(f"{state}: {why}", 2, 6) for state, why in refusal.refused.items())
        yield ""


# -- check -----------------------------------------------------------------------------------------------------------


def check(name: str, *, engine: str, as_json: bool) -> None:
    """Validate a model file and print what its engine looks like; ModelProblem lists everything that is wrong."""
    model = with_engine(load_model(name, use_cache=False), engine)
    if problems := [Problem("", problem) for problem in _strange_neighbours(model)]:
        raise ModelProblem(str(find_model_file(name)), problems)
    told, lines = (
        (_check_result, _check_text) if not model.is_imported else (imported.check_result, imported.check_text)
    )
    result = told(model)
    if as_json:
        print(json.dumps({"file": str(find_model_file(name)), **result}, indent=2))
        return
    print("\n".join(lines(model, result)))


def _strange_neighbours(model: Model) -> Iterator[str]:
    """What the file says of other models and is not so."""
    if model.onward is not None:
        known = list_models()
        for name in dict.fromkeys(name for c in model.onward.states.values() for name in c.models):
            if name not in known:
                yield f"continue_with: unknown model {name}{nearest(name, known)}"
    if model.comparison is not None:
        try:
            other = load_model(model.comparison.model)
        except UsageProblem as error:
            yield f"compare_with: {error}"
        else:
            yield from (f"compare_with: {problem}" for problem in strange_names(model.comparison, other))


def _check_result(model: Model) -> dict[str, Any]:
    engine = model.compiled.engine
    belief = engine.belief(findings(engine.network, model.confirmed))
    present = belief.targets @ model.compiled.is_mode
    n_faults = model.compiled.n_faults
    return {
        "id": model.id,
        "version": model.version,
        "engine": {
            "kind": "table" if isinstance(engine, JointEngine) else "tree",
            "chosen": "automatically" if model.engine == "auto" else "as asked",
            "component_states": len(belief.targets),
            "conditions": {c.id: len(c.states) for c in model.conditions.values()},
            "plan": engine.describe(),
        },
        "confirmed_by": dict(model.confirmed),
        "shares": {
            str(mode): {"share": model.shares[mode], "network": float(p), "prior_odds": model.compiled.odds[mode]}
            for mode, p in zip(model.modes, present, strict=True)
        },
        "two_or_more": {"stated": model.second_fault_share, "network": float(belief.targets[n_faults >= 2].sum())},
        "nothing_found": float(belief.targets[n_faults == 0].sum()),
        "inseparable": [list(group) for group in inseparable(model, engine.prior, list(model.tests))],
        "counts": {
            "observations": len(model.observations),
            "tests": len(model.tests),
            "repairs": len(model.repairs),
            "marks": marks(model),
        },
        "complaint_alone": {c: 1 - float(engine.belief(_complaint(model)).marginal(c)[0]) for c in model.components},
    }


def _complaint(model: Model) -> list[Any]:
    from faultnet.case.steps import case_steps

    return case_steps(model, Case())


def _check_text(model: Model, result: dict[str, Any]) -> Iterator[str]:
    engine, counts = result["engine"], result["counts"]
    listed = ", ".join(f"{counts[kind]} {kind}" for kind in ("observations", "tests", "repairs"))
    yield f"{model.version} is sound: {listed}."
    yield ""
    kinds = {"table": "one table of joint states", "tree": "junction tree of cliques"}
    yield bold("Engine") + f"  ({kinds[engine['kind']]}, chosen {engine['chosen']})"
    sides = ", ".join(f"{name} {n}" for name, n in engine["conditions"].items())
    yield wrapped(f"{engine['component_states']} component states; conditions: {sides}", 2, 4)
    yield wrapped(engine["plan"], 2, 4)
    yield ""
    yield bold("Shares") + "  (as written; given back by the network for the confirmed complaint)"
    rows = [("", "written", "network", "prior odds")]
    for mode, numbers in result["shares"].items():
        rows.append((mode, f"{numbers['share']:.4f}", f"{numbers['network']:.4f}", f"{numbers['prior_odds']:.5f}"))
    second = result["two_or_more"]
    if len(model.components) > 1:
        rows.append(("two or more faulty", f"{second['stated']:.4f}", f"{second['network']:.4f}", ""))
    rows.append(("nothing faulty", "", f"{result['nothing_found']:.4f}", ""))
    yield from table(rows, "lrrr")
    if len(model.components) > 1:
        yield wrapped("The network's add to a little over 1, since a job with two faults counts for both.", 2)
    yield ""
    yield bold("No test tells apart")
    for group in result["inseparable"] or [["none: every failure mode has a test that parts it from the others"]]:
        yield wrapped(" / ".join(group), 2, 4)
    yield ""
    yield wrapped("Marks: " + ", ".join(f"{n} {mark}" for mark, n in counts["marks"].items()), 0)
