"""Rows of text cells as jobs.

Histories say the same things over and over, so what a cell says is worked out once for each text: a million rows hold a
few thousand different ones.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime

from faultnet.case.entry import parse_event
from faultnet.case.events import RepairOutcome
from faultnet.errors import UsageProblem
from faultnet.history.items import in_tested_order, parted
from faultnet.jobs import Closing, Entry, Job, Part
from faultnet.jobs.closing import COMEBACKS, OUTCOMES, PART_SOURCES, VERIFICATIONS
from faultnet.jobs.entry import entry_of
from faultnet.jobs.facts import FACTS, checked_fact
from faultnet.jobs.stage import STAGES
from faultnet.model import Model

MOST_REMEMBERED = 200_000


class AnyMeter(frozenset[str]):
    """Past readings may name meters that are gone."""

    def __contains__(self, _name: object) -> bool:
        return True


@dataclass(eq=False)
class RowReader:
    """Reads rows of jobs with one model, remembering what cells say."""

    model: Model
    _remembered: dict[tuple[str, str], tuple[tuple[Entry, ...], tuple[str, ...]]] = field(default_factory=dict)
    _parts: dict[str, Part] = field(default_factory=dict)

    def job(self, row: Mapping[str, str]) -> Job:
        """The job of a row. UsageProblem lists everything that is wrong, each with its column."""
        past = self.past(row)
        made = past.opened_at
        numbered = tuple(replace(entry, seq=n, place=n, at=made) for n, entry in enumerate(past.entries, start=1))
        return replace(past, entries=numbered)

    def past(self, row: Mapping[str, str]) -> Job:
        """The same, its entries not numbered yet: they are counted when they are put into a database."""
        problems: list[str] = []
        entries = list(self._entries(row, problems))
        opened = _moment(row, "opened", problems)
        since = _moment(row, "stage_since", problems) or opened
        closing = _closing(row, problems)
        parts = [self._part(text, problems) for text in parted(row.get("parts", ""))]
        stage = row.get("stage") or ("done" if closing is not None else "open")
        _one_of("stage", stage, STAGES, problems)
        _one_of("comeback", row.get("comeback", ""), ("", *COMEBACKS), problems)
        if opened is None and not row.get("opened"):
            problems.append("opened: nothing; write the day the set came in, as 2031-05-17")
        if problems or opened is None or since is None:
            raise UsageProblem(*problems)
        return Job(
            number=row.get("job", ""),
            model=row.get("model") or self.model.id,
            stage=stage,
            stage_since=since,
            opened_at=opened,
            opened_by=row.get("opened_by", ""),
            after=row.get("after", ""),
            comeback=row.get("comeback", ""),
            entries=tuple(entries),
            parts=tuple(_placed(part, entries) for part in parts),
            closing=closing,
        )

    def _part(self, text: str, problems: list[str]) -> Part:
        """A part, from memory where it was read before."""
        if text not in self._parts:
            before = len(problems)
            part = _part(text, problems)
            if len(problems) > before:
                return part
            self._parts[text] = part
        return self._parts[text]

    def _entries(self, row: Mapping[str, str], problems: list[str]) -> Iterator[Entry]:
        """Facts and conditions, what was seen in the order of `tests`, then `then`, what was skipped, and notes."""
        for name in FACTS:
            yield from self._said(name, row.get(name, ""), _fact, problems)
        yield from self._said("given", row.get("given", ""), self._given, problems)
        seen = {
            name: self._said(name, text, self._seen, problems)
            for name, text in row.items()
            if text and name in self.model.visible
        }
        n_items = {name: len(entries) for name, entries in seen.items()}
        for name, nth in in_tested_order(row.get("tests", "").split(), n_items):
            yield seen[name][nth]
        yield from self._said("then", row.get("then", ""), self._then, problems)
        yield from self._said("skipped", row.get("skipped", ""), self._skipped, problems)
        for note in parted(row.get("notes", "")):
            yield Entry("note", note=note)

    def _said(
        self, column: str, text: str, read: Callable[[str, str], Iterator[Entry]], problems: list[str]
    ) -> tuple[Entry, ...]:
        """What a cell says, from memory where it was read before."""
        if not text:
            return ()
        key = (column, text)
        if key not in self._remembered:
            if len(self._remembered) >= MOST_REMEMBERED:
                self._remembered.clear()
            try:
                self._remembered[key] = (tuple(read(column, text)), ())
            except UsageProblem as error:
                self._remembered[key] = ((), tuple(f"{column}: {problem}" for problem in error.problems))
        entries, wrong = self._remembered[key]
        problems.extend(wrong)
        return entries

    def _seen(self, column: str, text: str) -> Iterator[Entry]:
        for item in parted(text):
            yield self._event(f"{column}={item}")

    def _then(self, _column: str, text: str) -> Iterator[Entry]:
        for item in parted(text):
            yield self._event(item)

    def _event(self, text: str) -> Entry:
        event = parse_event(self.model, text, AnyMeter())
        if isinstance(event, RepairOutcome):
            return entry_of(event)
        reading = self.model.visible[event.observation].reading
        return entry_of(event) if reading is None else entry_of(event, reading.unit)

    def _given(self, _column: str, text: str) -> Iterator[Entry]:
        for item in parted(text):
            name, _, state = item.partition("=")
            known = self.model.conditions.get(name)
            if known is None or state not in known.states:
                raise UsageProblem(f"{item}: {self.model.id} has no such condition or state")
            yield Entry("given", name, state)

    def _skipped(self, _column: str, text: str) -> Iterator[Entry]:
        for item in parted(text):
            test, _, why = item.partition(": ")
            if test not in self.model.tests:
                raise UsageProblem(f"{self.model.id} has no test {test}")
            yield Entry("skipped", test, note=why)


def _fact(column: str, text: str) -> Iterator[Entry]:
    try:
        yield Entry("fact", column, checked_fact(column, text), unit=FACTS[column].unit)
    except UsageProblem as error:
        raise UsageProblem(*(problem.partition(": ")[2] or problem for problem in error.problems)) from None


def _part(text: str, problems: list[str]) -> Part:
    repair, _, rest = text.partition(":")
    told = {name: value for name, _, value in (item.partition(" ") for item in parted(rest.strip(), ","))}
    source = told.get("source", "new")
    if source not in PART_SOURCES:
        problems.append(f"parts: {source} is none of {', '.join(PART_SOURCES)}")
    leds, strips, paid = (_number("parts", told.get(name, ""), problems) for name in ("leds", "strips", "paid"))
    n_leds, n_strips = (None if value is None else round(value) for value in (leds, strips))
    return Part(0, repair.strip(), told.get("old", ""), told.get("new", ""), source, n_leds, n_strips, paid)


def _placed(part: Part, entries: Sequence[Entry]) -> Part:
    """The part with the entry of the first repair that it belongs to."""
    made = [number for number, entry in enumerate(entries, start=1) if entry.kind == "repair"]
    named = [number for number in made if part.repair in entries[number - 1].name.split("+")]
    return replace(part, seq=next(iter([*named, *made]), 0))


def _closing(row: Mapping[str, str], problems: list[str]) -> Closing | None:
    if not row.get("outcome"):
        return None
    outcome, verification = row["outcome"], row.get("verification") or "not_verified"
    _one_of("outcome", outcome, OUTCOMES, problems)
    _one_of("verification", verification, VERIFICATIONS, problems)
    hours, minutes, parts, price = (
        _number(name, row.get(name, ""), problems) for name in ("hours_on_test", "minutes", "parts_cost", "price")
    )
    at = _moment(row, "closed", problems)
    note, currency, by = (row.get(name, "") for name in ("notes_at_end", "currency", "closed_by"))
    return Closing(outcome, verification, hours, minutes, parts, price, currency, note, by, at)


def _number(column: str, text: str, problems: list[str]) -> float | None:
    try:
        number = float(text) if text else None
    except ValueError:
        number = float("nan")
    if number is not None and not 0 <= number < 1e9:
        problems.append(f"{column}: {text} is no number from 0 on")
        return None
    return number


def _one_of(column: str, text: str, known: Sequence[str] | Mapping[str, str], problems: list[str]) -> None:
    if text not in known:
        problems.append(f"{column}: {text} is none of {', '.join(filter(None, known))}")


def _moment(row: Mapping[str, str], column: str, problems: list[str]) -> datetime | None:
    if not (text := row.get(column, "")):
        return None
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        problems.append(f"{column}: {text} is no day or moment; write 2031-05-17 or 2031-05-17T09:30")
        return None
    return found if found.tzinfo is not None else found.replace(tzinfo=UTC)
