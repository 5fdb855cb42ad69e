"""Repairs: what each would cure now, what doing it costs, the gates it must pass, and what giving up costs."""

from faultnet.repairs.gates import judged_by, untrained_reason
from faultnet.repairs.rank import RankedRepair, cure_chance, rank_repairs

__all__ = ["RankedRepair", "cure_chance", "judged_by", "rank_repairs", "untrained_reason"]
