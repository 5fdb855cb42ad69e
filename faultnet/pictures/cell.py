"""A place of a plan as a cell: what was shown before, what to do there, how dangerous it is, what is to come."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from faultnet.model import Model
from faultnet.pictures.branches import Place
from faultnet.pictures.ink import INK, QUIET, TRACK, lit
from faultnet.pictures.marks import lines_of_text, pitch_of
from faultnet.pictures.measure import wrap
from faultnet.pictures.svg import group, rect
from faultnet.plan import PlanStep
from faultnet.plan.words import suspects_words
from faultnet.words import minutes, percent

WIDTH = 222.0
"""Of every cell."""

_PAD, _LABEL, _NOTE = 7.0, 12.0, 11.0
_ROOM = WIDTH - 2 * _PAD
_REPAIR = lit(0.6)


@dataclass(frozen=True)
class Cell:
    """A place as it is drawn. number: of its step, 0 of an end."""

    model: Model
    place: Place
    number: int

    @cached_property
    def _answer(self) -> list[str]:
        """What was shown, and how many sets come here."""
        answer, reached = self.place.answer, percent(self.place.reached).replace(" %", "\u00a0%")
        return wrap(f"{answer}: {reached}", _ROOM, _NOTE, bold=True) if answer else []

    @cached_property
    def _label(self) -> list[str]:
        step = self.place.step
        if step is None:
            return wrap(self.place.words, _ROOM, _NOTE)
        return wrap(f"{self.number}. {step.label}", _ROOM, _LABEL, bold=True)

    @cached_property
    def _notes(self) -> list[str]:
        step = self.place.step
        notes = [] if step is None else list(_notes(self.model, step))
        if step is not None and step.kind == "repair" and not self.place.places:
            notes += [f"the set then works: {percent(b.chance)}" for b in step.branches if b.state == "works"]
        if self.place.goes_on:
            notes.append(f"goes on: {self.place.goes_on} more step{'s' if self.place.goes_on > 1 else ''} ...")
        return [line for note in notes for line in wrap(note.replace(" %", "\u00a0%"), _ROOM, _NOTE)]

    @property
    def _strip(self) -> float:
        return len(self._answer) * pitch_of(_NOTE) + 5 if self._answer else 0.0

    @property
    def height(self) -> float:
        """How high it has to be."""
        return self._strip + len(self._label) * pitch_of(_LABEL) + len(self._notes) * pitch_of(_NOTE) + 8

    def drawn(self, x: float, y: float) -> str:
        """The cell with its upper left corner there."""
        step, inner, below = self.place.step, x + _PAD, y + self._strip + 2
        is_repair = step is not None and step.kind == "repair"
        notes = below + len(self._label) * pitch_of(_LABEL)
        weight = None if step is None else "bold"
        return group(
            rect(
                x,
                y,
                WIDTH,
                self.height,
                rx=10 if step is None else 2,
                fill=_REPAIR if is_repair else "#ffffff",
                stroke=INK if step else QUIET,
                stroke_width=2.6 if is_repair else 1.2,
                data_step=step.id if step else "",
            ),
            rect(x + 1, y + 1, WIDTH - 2, self._strip - 1, rx=9 if step is None else 1, fill=TRACK)
            if self._strip
            else "",
            *lines_of_text(inner, y + 1, self._answer, _NOTE, fill=INK, font_weight="bold"),
            *lines_of_text(inner, below, self._label, _LABEL, fill=INK, font_weight=weight),
            *lines_of_text(inner, notes, self._notes, _NOTE, fill=INK),
        )


def _notes(model: Model, step: PlanStep) -> Iterator[str]:
    """Hazard and minutes; what a repair may do; the likeliest part; the cost to come."""
    if step.step is not None:
        yield f"hazard\u00a0{step.step.hazard} of\u00a04, {minutes(step.step.setup_minutes + step.step.minutes)}"
    if step.harm:
        yield f"may ruin the set: {percent(step.harm)}"
    likeliest = f"{suspects_words(model, step, most=1)}, " if step.suspects else ""
    yield f"{likeliest}to come {step.expected_cost:.0f}"
