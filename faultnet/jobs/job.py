"""A job: one set that came in, with all that was written down about it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

from faultnet.jobs.closing import Closing, Part
from faultnet.jobs.entry import Entry, standing


@dataclass(frozen=True)
class Job:
    """A job as it stands. number: the shop's own; after: the number of the job it came back from, or "".

    comeback: `same` or `other`, what it came back with; stage_since: when the stage began; entries: all of them, in the
    order they were written.
    """

    number: str
    model: str
    stage: str
    stage_since: datetime
    opened_at: datetime
    opened_by: str = ""
    after: str = ""
    comeback: str = ""
    entries: tuple[Entry, ...] = ()
    parts: tuple[Part, ...] = ()
    closing: Closing | None = None

    @cached_property
    def standing(self) -> tuple[Entry, ...]:
        """The entries that stand, in the order in which they count."""
        return standing(self.entries)

    @property
    def facts(self) -> Mapping[str, str]:
        """What is known of the set, by name; the later entry counts."""
        return {entry.name: entry.state for entry in self.standing if entry.kind == "fact"}

    @property
    def given(self) -> Mapping[str, str]:
        """States of the model's conditions that were given."""
        return {entry.name: entry.state for entry in self.standing if entry.kind == "given"}

    @property
    def inches(self) -> float | None:
        """The screen's size."""
        return float(self.facts["size"]) if "size" in self.facts else None

    @property
    def price(self) -> Entry | None:
        """The entry of the price that was named last."""
        return next((entry for entry in reversed(self.standing) if entry.kind == "price"), None)

    @property
    def skipped(self) -> Mapping[str, str]:
        """Tests that were skipped and not made since, each with the reason."""
        tests: dict[str, str] = {}
        for entry in self.standing:
            if entry.kind == "skipped":
                tests[entry.name] = entry.note
        return tests
