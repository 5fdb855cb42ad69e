"""Cells as people type them, read with a model: observations, conditions and the nominal, each in a column."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import isfinite
from numbers import Real

import numpy as np

from faultnet.case import Case, Event, RepairOutcome
from faultnet.case.entry import component_names, nearest, observation_names, parse_event, parse_given, repair_names
from faultnet.case.sequence import sequence_of
from faultnet.errors import UsageProblem
from faultnet.estimator.table import Cell, Said
from faultnet.history.items import parted
from faultnet.history.read import AnyMeter
from faultnet.model import Model
from faultnet.patterns import Pattern
from faultnet.readings import Nominal

NOMINAL = "nominal"
"""The column of the voltage of a healthy set, in volts."""


@dataclass(frozen=True)
class TypedReader:
    """Reads rows whose columns a model knows; events count in the order of its file, whatever that of the columns.

    ids: what each column is about, in the model's words, "" of one it does not know.
    """

    model: Model
    ids: tuple[str, ...]

    def said(self, column: int, cell: Cell) -> Hashable:
        """Events, conditions, or the nominal."""
        id_ = self.ids[column]
        if not id_:
            return ()
        text = cell.strip() if isinstance(cell, str) else _number(cell)
        if id_ == NOMINAL:
            return _nominal(text)
        if id_ in self.model.visible:
            return tuple(self._event(id_, item) for item in parted(text))
        return tuple(parse_given(self.model, [f"{id_}={text}"]).items())

    def pattern(self, said: Said) -> Pattern:
        """What a row says of its set."""
        told = {id_: own for id_, own in zip(self.ids, said, strict=True) if own is not None}
        nominal = told.pop(NOMINAL, None)
        assert nominal is None or isinstance(nominal, Nominal)
        events: list[Event] = []
        given: dict[str, str] = {}
        for id_ in self._in_order:
            own = told.get(id_, ())
            assert isinstance(own, tuple)
            (events.extend if id_ in self.model.visible else given.update)(own)
        case = Case(tuple(events), given, nominal)
        asked = self.model.brought_in_for
        is_told = asked is not None and case.tells(asked[0])
        return Pattern(tuple(sequence_of(self.model, case)), given, nominal, is_told)

    @cached_property
    def _in_order(self) -> tuple[str, ...]:
        return (*self.model.visible, *self.model.conditions, *self.model.refusals)

    def _event(self, id_: str, item: str) -> Event:
        event = parse_event(self.model, f"{id_}={item}", AnyMeter())
        assert not isinstance(event, RepairOutcome)
        return event


def reader_of(model: Model, columns: Sequence[str], problems: list[str]) -> TypedReader:
    """The reader of a table with these columns; those that the model does not know are added to the problems."""
    ids = tuple(_id(model, name) for name in columns)
    first: dict[str, str] = {}
    for id_, name in zip(ids, columns, strict=True):
        if not id_:
            problems.append(f"column {name}: {_unknown(model, name)}")
        elif id_ in first:
            problems.append(f"column {name}: it says the same as column {first[id_]}; keep one of them")
        first.setdefault(id_, name)
    return TypedReader(model, ids)


def _id(model: Model, name: str) -> str:
    """What a column is about, "" of an unknown one."""
    if name == NOMINAL or name in model.conditions or name in model.refusals:
        return name
    return observation_names(model).get(name, "")


def _unknown(model: Model, name: str) -> str:
    if name in repair_names(model):
        return "a repair; what was done says nothing of a set nobody has repaired yet"
    if name in component_names(model):
        return "a part; columns are what was seen of the set, and parts are what y names"
    known = [*observation_names(model), *model.conditions, *model.refusals, NOMINAL]
    return f"{model.id} has no such observation or condition" + nearest(name, known)


def _number(cell: object) -> str:
    """A number as it can be typed."""
    if isinstance(cell, Real) and not isinstance(cell, bool):
        return np.format_float_positional(float(cell), trim="-")
    return str(cell)


def _nominal(text: str) -> Nominal:
    try:
        volts = float(text)
    except ValueError:
        volts = 0.0
    if not (isfinite(volts) and volts > 0):
        raise UsageProblem(f"{text} is no voltage of a healthy set; write a number of volts above 0")
    return Nominal.label(volts)
