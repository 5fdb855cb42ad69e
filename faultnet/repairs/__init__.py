"""Repairs: what each would cure now, what doing it costs, the gates it must pass, and what giving up costs."""

from faultnet.repairs.gates import judged_by, untrained_reason
from faultnet.repairs.money import Money, money_of
from faultnet.repairs.rank import RankedRepair, cure_chance, rank_repairs

__all__ = ["Money", "RankedRepair", "cure_chance", "judged_by", "money_of", "rank_repairs", "untrained_reason"]
