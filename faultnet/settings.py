"""The shop's settings, as one value that is passed down to whoever prices or gates a step."""

from dataclasses import dataclass

UNTRAINED_HAZARD_LIMIT = 1
"""On a bench not marked as trained, only steps up to this hazard are advised."""


@dataclass(frozen=True)
class ShopSettings:
    """Prices in the shop's own money; every default is reasoned, not measured.

    hourly_rate: money for an hour at the bench. currency: its ISO 4217 code, empty where nobody said.
    hazard_prices: what a step of hazard 0 to 4 costs besides its time. gate_panel, gate_repair: how sure one must be of
    the part before a repair is advised, with and without opening the panel. new_set_prices: what an equal new set
    costs, by size class; gate_uneconomic: the share of it above which a repair does not pay, so that a working set is
    worth just that to its owner; harm_claim: the share of it that the shop owes for a set it ruined. trained: whether
    this bench is marked as trained.
    decimal_comma: whether `54,2` is 54.2 where a single number is asked.
    """

    hourly_rate: float = 40.0
    hazard_prices: tuple[float, ...] = (0.0, 1.0, 2.0, 4.0, 8.0)
    gate_panel: float = 0.90
    gate_repair: float = 0.85
    trained: bool = False
    currency: str = ""
    gate_uneconomic: float = 0.5
    new_set_prices: tuple[float, ...] = (250.0, 450.0, 750.0, 1500.0)
    harm_claim: float = 0.5
    decimal_comma: bool = False

    def price(self, minutes: float, money: float, hazard: int) -> float:
        """Time at the hourly rate, money spent and the hazard's price."""
        return minutes / 60 * self.hourly_rate + money + self.hazard_prices[hazard]

    def may_do(self, hazard: int) -> bool:
        """Whether a step of this hazard may be advised at this bench."""
        return self.trained or hazard <= UNTRAINED_HAZARD_LIMIT
