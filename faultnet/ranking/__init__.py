"""What to do next, and why."""

from faultnet.ranking.rank import rank_tests
from faultnet.ranking.result import Advice, HeldBack, Outcome, RankedTest, Ranking

__all__ = ["Advice", "HeldBack", "Outcome", "RankedTest", "Ranking", "rank_tests"]
