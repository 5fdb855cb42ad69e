"""What `model show` and `model check` say of an imported network: chances as they are, where our own have shares."""

from collections.abc import Iterator
from typing import Any

from faultnet.cli.terminal import bold, table, wrapped
from faultnet.diagnosis.explain import inseparable
from faultnet.engine.joint import JointEngine
from faultnet.model import ModeId, Model
from faultnet.words import percent


def chances(model: Model) -> dict[str, float]:
    """P(failure mode) of every component with nothing seen."""
    prior = model.compiled.engine.prior.targets @ model.compiled.is_mode
    return {str(mode): float(chance) for mode, chance in zip(model.modes, prior, strict=True)}


def show_json(model: Model) -> dict[str, Any]:
    """What an imported network is made of."""
    nodes = {id_: model.visible[id_] for id_ in (*model.components, *model.rails, *model.observations)}
    return {
        "id": model.id,
        "title": model.title,
        "about": model.about,
        "version": model.version,
        "source": "imported",
        "components": {
            c.id: {"label": c.label, "healthy": c.healthy, "modes": {m.id: {"label": m.label} for m in c.modes}}
            for c in model.components.values()
        },
        "chances": chances(model),
        "nodes": {
            id_: {"label": n.label, "states": list(n.states), "labels": dict(n.state_labels), "given": list(n.given)}
            for id_, n in nodes.items()
        },
        "rails": list(model.rails),
        "observations": {o.id: list(o.states) for o in model.observations.values()},
        "tests": {t.id: {"label": t.label, "minutes": t.minutes, "hazard": t.hazard} for t in model.tests.values()},
    }


def show_text(model: Model) -> Iterator[str]:
    """The same for a terminal."""
    yield bold(model.title)
    yield wrapped(f"{model.version}. {model.about}", 2)
    yield ""
    yield bold("Components") + "  (the healthy state; then how likely each other one is, nothing seen)"
    by_mode = chances(model)
    for component in model.components.values():
        listed = ", ".join(f"{m.id} {percent(by_mode[str(ModeId(component.id, m.id))])}" for m in component.modes)
        yield wrapped(f"{_named(component.id, component.label)}: {component.healthy}; {listed}", 2, 6)
    yield ""
    yield bold("Rails") + "  (hidden; evidence may be about them too)"
    for rail in model.rails.values():
        yield wrapped(f"{_named(rail.id, rail.label)}: {' | '.join(rail.states)}", 2, 6)
    yield ""
    yield from tests_text(model)
    yield wrapped("The numbers are imported and used as they are: no shares, no intervals, no repairs.", 0)


def tests_text(model: Model) -> Iterator[str]:
    """The tests of any model, with what each can show."""
    yield bold("Tests")
    rows = [("", "min", "hazard", "what it can show")]
    for test in model.tests.values():
        states = "; ".join(" | ".join(model.observations[o].states) for o in test.reveals)
        rows.append((test.id, f"{test.minutes:g}", str(test.hazard), states))
    yield from (wrapped(line, 0, 6) for line in table(rows, "lrrl"))
    yield ""


def _named(id_: str, label: str) -> str:
    return id_ if label == id_ else f"{id_} ({label})"


def check_result(model: Model) -> dict[str, Any]:
    """What an imported network looks like compiled."""
    compiled = model.compiled
    engine, prior = compiled.engine, compiled.engine.prior
    return {
        "id": model.id,
        "version": model.version,
        "source": "imported",
        "engine": {
            "kind": "table" if isinstance(engine, JointEngine) else "tree",
            "chosen": "automatically" if model.engine == "auto" else "as asked",
            "component_states": len(prior.targets),
            "plan": engine.describe(),
        },
        "chances": chances(model),
        "nothing_found": float(prior.targets[compiled.n_faults == 0].sum()),
        "two_or_more": float(prior.targets[compiled.n_faults >= 2].sum()),
        "inseparable": [list(group) for group in inseparable(model, prior, list(model.tests))],
        "counts": {
            "components": len(model.components),
            "rails": len(model.rails),
            "observations": len(model.observations),
            "tests": len(model.tests),
        },
    }


def check_text(model: Model, result: dict[str, Any]) -> Iterator[str]:
    """The same for a terminal."""
    engine = result["engine"]
    counts = ", ".join(f"{n} {kind}" for kind, n in result["counts"].items())
    yield f"{model.version} is sound: an imported network, {counts}."
    yield ""
    kinds = {"table": "one table of joint states", "tree": "junction tree of cliques"}
    yield bold("Engine") + f"  ({kinds[engine['kind']]}, chosen {engine['chosen']})"
    yield wrapped(f"{engine['component_states']} component states", 2, 4)
    yield wrapped(engine["plan"], 2, 4)
    yield ""
    yield bold("Chances") + "  (nothing seen)"
    rows = [(mode, f"{chance:.4f}") for mode, chance in result["chances"].items()]
    rows.append(("two or more faulty", f"{result['two_or_more']:.4f}"))
    rows.append(("nothing faulty", f"{result['nothing_found']:.4f}"))
    yield from table(rows, "lr")
    yield ""
    yield bold("No test tells apart")
    for group in result["inseparable"] or [["none: every failure mode has a test that parts it from the others"]]:
        yield wrapped(" / ".join(group), 2, 4)
