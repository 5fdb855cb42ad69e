"""Counting a history where it lies, in a database or in files of any size: patterns of evidence, labels, returns."""

from faultnet.counting.ask import Source
from faultnet.counting.count import count_patterns
from faultnet.counting.tally import count_jobs

__all__ = ["Source", "count_jobs", "count_patterns"]
