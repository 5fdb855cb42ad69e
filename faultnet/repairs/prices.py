"""What a repair costs in money, what it may spoil, and what giving up costs."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from faultnet.case.bench import TRIED_OUT
from faultnet.model.compiled import Compiled
from faultnet.model.model import Model
from faultnet.model.work import BenchState, Repair, Step, prepare, size_class
from faultnet.settings import ShopSettings

_BENCHES_KEPT = 64
"""Of all models of late together; a look at a job asks for five or six."""


@dataclass(frozen=True)
class RepairPrice:
    """What doing a repair once costs, in the shop's money.

    step: with the set-up from how the bench stands. done: time, hazard and parts at mid price; parts_low, parts_high:
    what parts may cost. harm: the chance that it ruins the set, which ends the job. ruined: what that costs, a working
    set lost and the claim. comeback: what it costs on average that a cured set comes back, the repair done once more
    for nothing.
    """

    step: Step
    done: float
    parts_low: float
    parts_high: float
    harm: float
    ruined: float
    comeback: float


def giving_up_price(settings: ShopSettings, inches: float | None) -> float:
    """What it costs to send a set back unrepaired: the most that a working one is worth to its owner."""
    return settings.gate_uneconomic * settings.new_set_prices[size_class(inches)]


def repair_price(
    model: Model, repair: Repair, bench: BenchState, inches: float | None, settings: ShopSettings
) -> RepairPrice:
    """What a repair of the model costs from how the bench stands; afterwards the set is put together and tried out."""
    return _prices(model.compiled, bench, inches, settings)[repair.id]


@lru_cache(maxsize=_BENCHES_KEPT)
def _prices(
    compiled: Compiled, bench: BenchState, inches: float | None, settings: ShopSettings
) -> Mapping[str, RepairPrice]:
    """Of all repairs: the same benches come up in every answer about a model."""
    model = compiled.model
    return {id_: _price(model, repair, bench, inches, settings) for id_, repair in model.repairs.items()}


def _price(
    model: Model, repair: Repair, bench: BenchState, inches: float | None, settings: ShopSettings
) -> RepairPrice:
    size = size_class(inches)
    step = prepare(
        bench,
        repair.needs,
        model.setups,
        leaves=TRIED_OUT,
        minutes=repair.minutes_by_size[size],
        hazard=repair.hazard,
        cautions=repair.cautions,
        inches=inches,
    )
    low, high = repair.parts_low[size], repair.parts_high[size]
    parts = (low + high) / 2
    return RepairPrice(
        step=step,
        done=settings.price(step.setup_minutes + step.minutes, parts, step.hazard),
        parts_low=low,
        parts_high=high,
        harm=repair.harm[size],
        ruined=giving_up_price(settings, inches) + settings.harm_claim * settings.new_set_prices[size],
        comeback=repair.comeback * settings.price(repair.minutes_by_size[size], parts, 0),
    )
