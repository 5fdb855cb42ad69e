"""`faultnet model check --against pgmpy`: how far another library's answers are from ours."""

import json
from collections.abc import Iterator
from dataclasses import asdict

from faultnet.cli.terminal import wrapped
from faultnet.errors import FaultnetError, UsageProblem
from faultnet.files import load_model
from faultnet.interchange.against import CLOSE_ENOUGH, SecondOpinion, compare_with_pgmpy
from faultnet.interchange.export import refuse_too_large
from faultnet.model import Model
from faultnet.workshop.understanding import with_engine

LIBRARIES = ("pgmpy",)


class Disagreement(FaultnetError):
    """Two engines give different answers; which one is wrong is not known."""


def second_opinion(name: str, library: str, *, cases: int, seed: int, engine: str, as_json: bool) -> None:
    """Print the greatest difference over random cases. Disagreement (exit 1) where it is not below `CLOSE_ENOUGH`."""
    if library not in LIBRARIES:
        raise UsageProblem(f"--against {library}: the only other library is {', '.join(LIBRARIES)}")
    model = with_engine(load_model(name), engine)
    refuse_too_large(model.compiled.network)
    told = compare_with_pgmpy(model.compiled, cases, seed)
    if as_json:
        worst = {**asdict(told.worst), "difference": told.worst.size}
        counts = {"cases": told.cases, "posteriors": told.posteriors, "seed": told.seed}
        print(
            json.dumps(
                {"model": model.id, "against": library, **counts, "agrees": told.agrees, "worst": worst}, indent=2
            )
        )
    else:
        print("\n".join(_text(model, told)))
    if not told.agrees:
        raise Disagreement(f"{model.version} and {library} differ by {told.worst.size:.3g}; see the case above")


def _text(model: Model, told: SecondOpinion) -> Iterator[str]:
    yield wrapped(
        f"{model.version} against pgmpy's variable elimination: {told.posteriors} posteriors in {told.cases} random "
        f"cases (seed {told.seed}) differ by {told.worst.size:.2g} at most"
        + (f", below {CLOSE_ENOUGH:g}." if told.agrees else f"; {CLOSE_ENOUGH:g} is the limit."),
        0,
        2,
    )
    if told.agrees:
        yield wrapped(
            "Asked one variable at a time, with a fresh inference object each: in pgmpy evidence stays in the object, "
            "and a second soft finding on a variable replaces the first.",
            2,
        )
        return
    worst = told.worst
    yield wrapped(f"P({worst.node}={worst.state}): {worst.ours!r} here, {worst.theirs!r} there, given", 2, 4)
    yield from (f"    {node}={state}" for node, state in worst.evidence.findings.items())
    yield from (f"    {node} seen unclearly, likelihoods {values}" for node, values in worst.evidence.soft.items())
