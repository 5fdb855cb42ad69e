"""A case: the events of one set in order, and what is known of the set besides."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from faultnet.case.events import Event, Finding, RepairOutcome, Seen, set_aside
from faultnet.case.order import Order, current, order_of
from faultnet.model.model import Model
from faultnet.readings import METERS, Meter, Nominal


@dataclass(frozen=True)
class Case:
    """One set on the bench.

    given: conditions whose state is known. nominal: what is known of the set's voltages, None when nothing is.
    meter: the one used where a reading names no other; meters: those that may be named.
    inches: screen size. with_complaint: whether the complaint of the model counts as the first finding.
    making: the test that is being made, if any: what the ones before it altered in the same way does not show yet.
    skipped: tests that will not be made, each with the reason; they are held back.
    """

    events: tuple[Event, ...] = ()
    given: Mapping[str, str] = field(default_factory=dict)
    nominal: Nominal | None = None
    meter: Meter = field(default_factory=Meter)
    meters: Mapping[str, Meter] = field(default_factory=lambda: METERS)
    inches: float | None = None
    with_complaint: bool = True
    making: str = ""
    skipped: Mapping[str, str] = field(default_factory=dict)

    def after(self, *events: Event) -> "Case":
        """The case with more events."""
        return replace(self, events=(*self.events, *events))

    def with_given(self, given: Mapping[str, str]) -> "Case":
        """The case with the states of some conditions known."""
        return replace(self, given={**self.given, **given})

    def epochs(self) -> Iterator[list[int]]:
        """The numbers of the events between repairs; each list but the last ends with the repair that closed it."""
        epoch: list[int] = []
        for number, event in enumerate(self.events):
            epoch.append(number)
            if isinstance(event, RepairOutcome):
                yield epoch
                epoch = []
        yield epoch

    def order(self, model: Model) -> Order:
        """Which events count, where, and which readings together."""
        return order_of(model, self.events, model.tests[self.making].alters if self.making else ())

    def superseded(self, model: Model) -> Mapping[int, int]:
        """Events that no longer count, with the later one that replaced each."""
        return self.order(model).replaced

    def known(self, model: Model) -> frozenset[str]:
        """Observations that were made, count, and are about the set as it is now: asking again tells nothing new."""
        seen = [event for event in self._current(model) if set_aside(event) is None]
        return frozenset(
            e.observation
            for e in seen
            if not model.visible[e.observation].repeats_independently and e.symptom != "not_showing"
        )

    def no_power(self, model: Model) -> str:
        """The finding after which the set must not be powered, as `name=state`, or nothing.

        It holds until a repair touches what it hangs on.
        """
        for event in self._current(model):
            if isinstance(event, Finding) and event.state in model.visible[event.observation].no_power_after:
                return f"{event.observation}={event.state}"
        return ""

    def _current(self, model: Model) -> Iterator[Seen]:
        """What was seen of the set as it is now."""
        for number in current(model, self.events):
            event = self.events[number]
            if not isinstance(event, RepairOutcome):
                yield event

    @property
    def just_repaired(self) -> bool:
        """Whether the last thing that happened is a repair after which the set works."""
        last = self.events[-1] if self.events else None
        return isinstance(last, RepairOutcome) and last.works

    def tells(self, observation: str) -> bool:
        """Whether an event before the first repair is about this observation; it then replaces the usual complaint."""
        first = next(self.epochs())
        return any(getattr(self.events[n], "observation", None) == observation for n in first)

    def ever_seen(self) -> frozenset[str]:
        """Observations that were made at any time, and count."""
        usable = [e for e in self.events if set_aside(e) is None]
        return frozenset(e.observation for e in usable if not isinstance(e, RepairOutcome))
