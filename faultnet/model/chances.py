"""Every number of a model that past jobs can change, as chances that add to 1, each with its strength in jobs.

A list of them says all that differs between two versions of a model; `with_chances` makes a model of one.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from faultnet.model.model import Model, Strength
from faultnet.model.nodes import Component, Effect, ModeId, Noisy, Observation, Row

SHARES, SECOND_FAULT = "shares", "second_fault_share"
SECOND_STATES = ("two_or_more", "one")

LEAST_JOBS = 30
"""Fewer jobs than this behind a number, and it is not called learned."""

_OF_REPAIRS: Mapping[str, tuple[str, str]] = {
    "success": ("works", "fails"),
    "arrives_faulty": ("faulty", "good"),
    "comeback": ("comes_back", "stays_away"),
}


@dataclass(frozen=True)
class Chances:
    """Chances of some states that add to 1, worth so many jobs; their prior or posterior is a Dirichlet.

    id: `shares`, `second_fault_share`, `condition.ID`, `collateral.CAUSE.EFFECT`, `row.OBSERVATION.NUMBER`, or
    `success`, `arrives_faulty` or `comeback` with the id of a repair. strength_jobs: what they count for, all in all
    (added counts). jobs: past jobs behind them, 0 for the numbers of a file.
    """

    id: str
    states: tuple[str, ...]
    means: tuple[float, ...]
    strength_jobs: float
    jobs: float = 0.0

    @property
    def kind(self) -> str:
        """The first part of the id."""
        return self.id.partition(".")[0]

    def interval(self, number: int) -> tuple[float, float]:
        """The central 90 % of one chance: a Beta with its mean and the strength (added counts).

        Extended to hold the chance itself where skew leaves it outside.
        """
        from scipy.special import betaincinv

        mean = self.means[number]
        if not 0 < mean < 1 or self.strength_jobs <= 0:
            return mean, mean
        a, b = mean * self.strength_jobs, (1 - mean) * self.strength_jobs
        return min(mean, float(betaincinv(a, b, 0.05))), max(mean, float(betaincinv(a, b, 0.95)))


def shift(before: Chances, after: Chances) -> float:
    """The largest change of a chance."""
    return max(abs(a - b) for a, b in zip(before.means, after.means, strict=True))


def chances_of(model: Model) -> tuple[Chances, ...]:
    """All of a model's, in the order of its file: shares, conditions, links, rows, repairs."""
    return tuple(
        replace(each, jobs=model.jobs_behind.get(each.id, 0.0))
        for each in (*_causes(model), *_rows(model), *_repairs(model))
    )


def row_id(observation: str, number: int) -> str:
    """The id of a written row of an observation, from 0."""
    return f"row.{observation}.{number}"


def _causes(model: Model) -> Iterator[Chances]:
    if not model.is_imported:
        modes, strength = tuple(map(str, model.modes)), model.strength
        yield Chances(SHARES, modes, tuple(model.shares.values()), strength.shares_jobs)
        yield _chance(SECOND_FAULT, SECOND_STATES, model.second_fault_share, strength.second_fault)
    for condition in model.conditions.values():
        yield Chances(f"condition.{condition.id}", condition.states, condition.shares, condition.strength_jobs)
    for link in model.collateral:
        yield _chance(f"collateral.{link.cause}.{link.effect}", ("follows", "stays"), link.chance, link.strength_jobs)


def _rows(model: Model) -> Iterator[Chances]:
    for node, table in (model.tables or {}).items():
        for number, means in enumerate(table):
            yield Chances(row_id(node, number), model.visible[node].states, means, 0.0)
    for seen in model.observations.values():
        for number, row in enumerate(seen.written):
            yield Chances(row_id(seen.id, number), seen.states, row.probabilities, row.strength_jobs)


def _repairs(model: Model) -> Iterator[Chances]:
    for repair in model.repairs.values():
        for kind, states in _OF_REPAIRS.items():
            id_ = f"{kind}.{repair.id}"
            strength = repair.strengths_jobs.get(kind, model.strength.rows_jobs)
            yield _chance(id_, states, getattr(repair, kind), strength)


def _chance(id_: str, states: tuple[str, str], chance: float, strength_jobs: float) -> Chances:
    return Chances(id_, states, (chance, 1 - chance), strength_jobs)


def with_chances(model: Model, chances: Iterable[Chances], version: str) -> Model:
    """The model with these numbers in the place of its own, under this version; what is not named stays.

    ValueError: numbers that this model does not have. Priors are solved anew.
    """
    own = {each.id: each for each in chances_of(model)}
    given = {each.id: each for each in chances}
    for each in given.values():
        if each.id not in own or own[each.id].states != each.states:
            raise ValueError(f"{model.id} has no {each.id} with the states {', '.join(each.states)}")
    now = {**own, **given}
    shares = dict(zip(now[SHARES].states, now[SHARES].means, strict=True)) if SHARES in now else {}
    return replace(
        model,
        version=version,
        second_fault_share=now[SECOND_FAULT].means[0] if SECOND_FAULT in now else model.second_fault_share,
        strength=_strength(model, now),
        components={id_: _component(component, shares) for id_, component in model.components.items()},
        conditions={
            id_: replace(known, shares=new.means, strength_jobs=new.strength_jobs)
            for id_, known in model.conditions.items()
            for new in [now[f"condition.{id_}"]]
        },
        collateral=tuple(
            replace(link, chance=new.means[0], strength_jobs=new.strength_jobs)
            for link in model.collateral
            for new in [now[f"collateral.{link.cause}.{link.effect}"]]
        ),
        observations={id_: _observation(seen, now) for id_, seen in model.observations.items()},
        repairs={
            id_: replace(
                repair,
                success=now[f"success.{id_}"].means[0],
                arrives_faulty=now[f"arrives_faulty.{id_}"].means[0],
                comeback=now[f"comeback.{id_}"].means[0],
                strengths_jobs={kind: now[f"{kind}.{id_}"].strength_jobs for kind in _OF_REPAIRS},
            )
            for id_, repair in model.repairs.items()
        },
        tables=None if model.tables is None else {n: _table(n, rows, now) for n, rows in model.tables.items()},
        root_odds=None,
        jobs_behind={each.id: each.jobs for each in now.values() if each.jobs},
    )


def _strength(model: Model, now: Mapping[str, Chances]) -> Strength:
    if SHARES not in now:
        return model.strength
    return Strength(now[SHARES].strength_jobs, model.strength.rows_jobs, now[SECOND_FAULT].strength_jobs)


def _component(component: Component, shares: Mapping[str, float]) -> Component:
    modes = (replace(m, share=shares.get(str(ModeId(component.id, m.id)), m.share)) for m in component.modes)
    return replace(component, modes=tuple(modes))


def _observation(seen: Observation, now: Mapping[str, Chances]) -> Observation:
    new = [now[row_id(seen.id, number)] for number in range(len(seen.written))]
    if seen.noisy is None:
        return replace(seen, table=_with_rows(seen.table, new))
    leak, *effects = _with_effects((seen.noisy.leak, *seen.noisy.effects), new)
    return replace(seen, noisy=Noisy(seen.noisy.order, leak, tuple(effects), seen.noisy.with_leak))


def _table(node: str, rows: Sequence[object], now: Mapping[str, Chances]) -> tuple[tuple[float, ...], ...]:
    return tuple(now[row_id(node, number)].means for number in range(len(rows)))


def _with_rows(rows: Sequence[Row], new: Sequence[Chances]) -> tuple[Row, ...]:
    both = zip(rows, new, strict=True)
    return tuple(replace(row, probabilities=n.means, strength_jobs=n.strength_jobs) for row, n in both)


def _with_effects(effects: Sequence[Effect], new: Sequence[Chances]) -> tuple[Effect, ...]:
    both = zip(effects, new, strict=True)
    return tuple(replace(effect, probabilities=n.means, strength_jobs=n.strength_jobs) for effect, n in both)
