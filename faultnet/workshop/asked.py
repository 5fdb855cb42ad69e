"""What is asked of past jobs, as plain values that can be kept: read, checked, and made what the shop works by."""

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import Field, fields
from typing import Any

from faultnet.analysis.comebacks import check_by
from faultnet.analysis.rates import check as check_columns
from faultnet.analysis.targets import COMEBACKS
from faultnet.counting.columns import columns_by
from faultnet.counting.statement import is_day
from faultnet.errors import FaultnetError, UsageProblem
from faultnet.workshop import calibrating, rating, tuning
from faultnet.workshop.workshop import Workshop

Wanted = tuning.Wanted | rating.Wanted | calibrating.Wanted

WANTED: Mapping[str, type[Wanted]] = {"tune": tuning.Wanted, "rates": rating.Wanted, "calibration": calibrating.Wanted}
"""What reports of past jobs are asked for, by kind."""

_OF_FILES = ("files", "in_service")
"""What only the command line asks: these lie on its machine."""

_DAYS = ("since", "before")
_MODEL = re.compile(r"[a-z][a-z0-9_]*(@\d+)?")


def wanted_of(workshop: Workshop, kind: str, asked: Mapping[str, Any]) -> Wanted:
    """What is asked, checked as far as that goes without counting. UsageProblem: all that is wrong with it."""
    known = {each.name: each for each in fields(WANTED[kind]) if each.name not in _OF_FILES}
    problems = [f"{name}: nothing to ask; possible are {', '.join(known)}" for name in asked if name not in known]
    values = {}
    for name, value in asked.items():
        if name in known:
            try:
                values[name] = _value(known[name], value)
            except UsageProblem as error:
                problems += error.problems
    wanted = WANTED[kind](**{"model": "", **values})
    problems += _model_problems(workshop, kind, wanted)
    if problems:
        raise UsageProblem(*problems)
    return wanted


def as_asked(wanted: Wanted, names: Iterable[str]) -> dict[str, Any]:
    """What is asked as plain values, for JSON: of these names, written the same however they were typed."""
    values = {name: getattr(wanted, name) for name in names}
    return {name: list(value) if isinstance(value, tuple) else value for name, value in values.items()}


def _value(field: Field[Any], value: Any) -> Any:
    """A value as its field has it. UsageProblem: it cannot be."""
    name = field.name
    if name in _DAYS:
        text = str(value).strip()
        if text and not is_day(text):
            raise UsageProblem(f"{text}: write a day as 2031-05-17")
        return text
    if name == "by":
        return tuple(map(str, value)) if isinstance(value, list | tuple) else _listed(str(value))
    if name == "strength" and value is None:
        return None
    if field.type is str:
        return str(value).strip()
    if field.type is bool:
        if not isinstance(value, bool):
            raise UsageProblem(f"{name}: true or false, not {value}")
        return value
    return _number(name, value, *_RANGES[name])


def _listed(text: str) -> tuple[str, ...]:
    return tuple(filter(None, (each.strip() for each in text.split(","))))


_RANGES: Mapping[str, tuple[Callable[[Any], float], float, float]] = {
    "strength": (float, tuning.LEAST_STRENGTH, tuning.MOST_STRENGTH),
    "half_life_months": (float, 0, 1_200),
    "n_starts": (int, 0, 50),
    "most_jobs": (int, 100, 1_000_000),
    "watched_days": (float, 1, 36_500),
    "seed": (int, 0, 2**31 - 1),
}
"""Of each number what it is, the least and the most."""


def _number(name: str, value: Any, kind: Callable[[Any], float], least: float, most: float) -> float:
    try:
        number = kind(value)
    except (TypeError, ValueError, OverflowError):
        number = least - 1
    if not least <= number <= most:
        raise UsageProblem(f"{name.replace('_', ' ')} {value}: a number from {least:g} to {most:g}")
    return number


def _model_problems(workshop: Workshop, kind: str, wanted: Wanted) -> list[str]:
    """What is wrong with the model, and with columns that it may have."""
    if not wanted.model:
        return [] if kind == "rates" else ["say which model"]
    if not _MODEL.fullmatch(wanted.model):
        return [f"{wanted.model}: write a model's id"]  # never a path: this comes from other machines
    try:
        model = workshop.load_model(wanted.model)
        if isinstance(wanted, tuning.Wanted) and wanted.groups:
            columns_by((wanted.groups,), model, workshop.shop.panel_groups.group_of)
        elif isinstance(wanted, rating.Wanted) and wanted.of == COMEBACKS:
            check_by(wanted.by, model)
            if wanted.counted_only:
                raise UsageProblem("counting labels alone goes with shares, not with comebacks")
        elif isinstance(wanted, rating.Wanted):
            check_columns(wanted.of, wanted.by, model, counted_only=wanted.counted_only)
    except UsageProblem as error:
        return [*error.problems]
    except FaultnetError as error:
        return [str(error)]
    return []
