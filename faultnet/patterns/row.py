"""The columns of a history that its jobs are counted by, and what their cells say."""

from collections.abc import Mapping
from dataclasses import dataclass

from faultnet.case.entry import parse_event, written
from faultnet.case.events import Event
from faultnet.errors import UsageProblem
from faultnet.history.items import joined, parted
from faultnet.history.read import AnyMeter
from faultnet.model import Model
from faultnet.patterns.coarse import coarse

UNREADABLE = "!"
"""What the rounded text of a cell begins with where nobody can read it; the reason follows. No event begins so."""

FIXED = ("outcome", "verification", "came_back", "was_repaired", "given", "age", "nominal", "tests")
"""The first columns of a row: how the job ended, whether a set that came back had been repaired, conditions as
`name=state`, the same by the set's age, the number of its nominal, and the order of the tests. Then one for every
observation, what was seen and done from the first repair on, and the values counted by."""


@dataclass(frozen=True)
class Cells:
    """Reads cells of one model."""

    model: Model
    a_decade: int

    def seen(self, observation: str, text: str) -> tuple[Event, ...]:
        """What a cell of an observation says, volts rounded. UsageProblem: nobody can read it."""
        return self._read(observation, text, f"{observation}=")

    def then(self, text: str) -> tuple[Event, ...]:
        """What was seen and done from the first repair on. UsageProblem: nobody can read it."""
        return self._read("then", text, "")

    def _read(self, column: str, text: str, before: str) -> tuple[Event, ...]:
        if text.startswith(UNREADABLE):
            raise UsageProblem(text.removeprefix(UNREADABLE))
        try:
            events = (parse_event(self.model, before + item, AnyMeter()) for item in parted(text))
            return tuple(coarse(self.model, event, self.a_decade) for event in events)
        except UsageProblem as error:
            raise UsageProblem(*(f"{column}: {problem}" for problem in error.problems)) from None

    def rounded(self, column: str, text: str) -> str:
        """A cell of an observation, or of `then`, with its volts rounded."""
        try:
            events = self.then(text) if column == "then" else self.seen(column, text)
        except UsageProblem as error:
            return UNREADABLE + "; ".join(error.problems)
        items = (written(event, self.model) for event in events)
        return joined(item if column == "then" else item.partition("=")[2] for item in items)

    def given(self, text: str, by_age: str, was_repaired: str) -> Mapping[str, str]:
        """The conditions that are known: by age, by the repair before, and as given, which counts most."""
        if by_age.startswith(UNREADABLE):
            raise UsageProblem(by_age.removeprefix(UNREADABLE))
        known = dict(item.split("=", 1) for item in parted(by_age))
        if was_repaired:
            known |= {c.id: c.after_repair for c in self.model.conditions.values() if c.after_repair}
        for item in parted(text):
            name, _, state = item.partition("=")
            if name in self.model.conditions and state not in self.model.conditions[name].states:
                raise UsageProblem(f"given: {item}: {self.model.id} has no such state")
            if name in self.model.conditions:
                known[name] = state
        return known

    def by_age(self, text: str) -> str:
        """The conditions that follow from an age in years."""
        if not text:
            return ""
        try:
            years = float(text)
        except ValueError:
            return f"{UNREADABLE}age: {text} is no number of years"
        conditions = self.model.conditions.values()
        return joined(f"{c.id}={state}" for c in conditions if (state := c.state_at_age(years)))
