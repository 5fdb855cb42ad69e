"""A job of the shop: its entries, its stages, how it ended, and the case it makes."""

from faultnet.jobs.closing import Closing, Part
from faultnet.jobs.entry import Entry
from faultnet.jobs.job import Job

__all__ = ["Closing", "Entry", "Job", "Part"]
