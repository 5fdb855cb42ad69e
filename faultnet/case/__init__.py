"""One set on the bench: what was seen, read and tried, in order."""

from faultnet.case.case import Case
from faultnet.case.entry import parse_events
from faultnet.case.events import Event, Finding, Reading, RepairOutcome, SoftFinding
from faultnet.case.steps import believe

__all__ = ["Case", "Event", "Finding", "Reading", "RepairOutcome", "SoftFinding", "believe", "parse_events"]
