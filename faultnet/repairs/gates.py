"""What a repair must pass before it is advised: how sure one is of the part, what was proved, and whether it pays."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from faultnet.case.case import Case
from faultnet.case.shown import states_shown
from faultnet.case.words import state_words
from faultnet.engine.interface import Belief
from faultnet.model.model import Model
from faultnet.model.work import Choices, Repair, choices_in_words, unmet
from faultnet.repairs.prices import RepairPrice, giving_up_price
from faultnet.settings import ShopSettings
from faultnet.words import percent

Proof = Mapping[str, tuple[str, ...]]


@dataclass(frozen=True)
class Gate:
    """How a repair stands at its gates. named_right: P(what it is judged by is faulty), to be at least `sure`.

    waits_for: what must be looked at first; unproved: of which nothing that proves it was seen.
    held_because: why it is not advised now, or "".
    """

    named_right: float
    sure: float
    waits_for: Choices
    unproved: tuple[Proof, ...]
    held_because: str


def gate_of(
    model: Model,
    case: Case,
    belief: Belief,
    repair: Repair,
    price: RepairPrice,
    settings: ShopSettings,
    gains_nothing: str = "",
) -> Gate:
    """How a repair stands at its gates now. gains_nothing: why beginning with it costs more than giving up, or ""."""
    named_right = 1 - float(belief.joint(judged_by(model, repair)).flat[0])
    sure = least_sure(repair, settings)
    waits_for = unmet(repair.after, case.ever_seen())
    unproved = _unproved(model, case, belief, repair.proved_by)
    reasons = (
        "" if settings.may_do(price.step.hazard) else untrained_reason(price.step.hazard),
        _not_sure(named_right, sure),
        f"only {choices_in_words(waits_for)}" if waits_for else "",
        f"not proved: {proofs_in_words(model, unproved)}" if unproved else "",
        _uneconomic(price, settings, case.inches) or gains_nothing,
    )
    return Gate(named_right, sure, waits_for, unproved, next(filter(None, reasons), ""))


def judged_by(model: Model, repair: Repair) -> tuple[str, ...]:
    """The components of which one must be faulty for the repair to be right."""
    return model.groups[repair.judged_by].components if repair.judged_by else repair.fixes


def least_sure(repair: Repair, settings: ShopSettings) -> float:
    """How sure the shop wants to be of the part before this repair."""
    return settings.gate_panel if repair.needs.get("panel") == "opened" else settings.gate_repair


def proofs_in_words(model: Model, proofs: Sequence[Proof]) -> str:
    """ "strip_tester dark or some dark or flickering; open_voltage rises, then off, or known_load drives load" """
    return "; ".join(", or ".join(_shows(model, proof)) for proof in proofs)


def untrained_reason(hazard: int) -> str:
    """Why a step is held back at a bench that is not marked as trained."""
    return f"hazard {hazard}: for a trained person, and this bench is not marked as trained"


def _shows(model: Model, proof: Proof) -> list[str]:
    named = []
    for name, states in proof.items():
        observation = model.observations[name]
        named.append(f"{name} {' or '.join(state_words(observation, state) for state in states)}")
    return named


def _unproved(model: Model, case: Case, belief: Belief, proofs: Sequence[Proof]) -> tuple[Proof, ...]:
    if not proofs or not case.events:
        return tuple(proofs)
    shown = set(states_shown(model, case, belief))
    return tuple(p for p in proofs if not any((name, state) in shown for name, states in p.items() for state in states))


def _not_sure(named_right: float, sure: float) -> str:
    if named_right >= sure:
        return ""
    return f"{percent(named_right)} sure of the part; the shop's gate is {percent(sure)}"


def _uneconomic(price: RepairPrice, settings: ShopSettings, inches: float | None) -> str:
    """Why doing it does not pay even where it is right: it costs more than a working set is worth."""
    worth, costs = giving_up_price(settings, inches), price.done + price.harm * price.ruined
    if costs <= worth:
        return ""
    share = percent(settings.gate_uneconomic)
    return f"costs about {costs:.0f}, more than {share} of an equal new set ({worth:.0f})"
