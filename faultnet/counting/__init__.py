"""Reducing a history to patterns of evidence where it lies: in a shop's database, or in files of any size."""

from faultnet.counting.count import Source, count_jobs, count_patterns

__all__ = ["Source", "count_jobs", "count_patterns"]
