"""What a model says about sets it does not fit, and about other models."""

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Refusal:
    """A fact that decides whether the model fits the set. fits: states it fits; refused: the others, each with why."""

    id: str
    label: str
    fits: tuple[str, ...]
    refused: Mapping[str, str]


@dataclass(frozen=True)
class Continuation:
    """Where to go on from one state of a condition.

    models: ids, each with when it is the one. unless: for some conditions the states in which none fits, with why.
    """

    models: Mapping[str, str]
    unless: Mapping[str, Mapping[str, str]]


@dataclass(frozen=True)
class Onward:
    """Which model goes on from each state of an asked condition; a state that is not named has none yet."""

    condition: str
    states: Mapping[str, Continuation]


@dataclass(frozen=True)
class Translation:
    """How an observation is called in another model, and for each of our states the states there that fit it."""

    observation: str
    states: Mapping[str, tuple[str, ...]]


@dataclass(frozen=True)
class Comparison:
    """How to ask another model whether the findings fit this model's complaint: `state` of its `condition`."""

    model: str
    condition: str
    state: str
    findings: Mapping[str, Translation]
