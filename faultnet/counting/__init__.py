"""Reducing a history to patterns of evidence where it lies: in a shop's database, or in files of any size."""

from faultnet.counting.count import count_patterns

__all__ = ["count_patterns"]
