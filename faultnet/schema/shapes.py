"""The shape of every part of a model file, with the defaults of what may be left out."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from faultnet.model.volts import MOST_CHANNELS
from faultnet.schema.basic import Chance, Choice, Id, Mark, ModeName, Positive, Ratio, Shape, Text, When

NumberOfChannels = Annotated[int, Field(ge=1, le=MOST_CHANNELS)]


class ComplaintShape(Shape):
    """What the set was brought in for."""

    observation: Id
    state: Id


class StrengthShape(Shape):
    """How many jobs numbers count for where nothing else is said."""

    shares: Positive
    rows: Positive


class ModeShape(Shape):
    """A failure mode."""

    label: Text
    share: Chance
    mark: Mark


class ComponentShape(Shape):
    """A part that can be repaired or replaced."""

    label: Text
    short: Id | None = None
    also: list[Id] = []
    modes: Annotated[dict[Id, ModeShape], Field(min_length=1)]


class GroupShape(Shape):
    """Components spoken of together."""

    label: Text
    of: Annotated[list[Id], Field(min_length=1)]


class CollateralShape(Shape):
    """A failure mode that takes another component along."""

    cause: ModeName
    effect: ModeName
    chance: Chance
    strength: Positive | None = None
    mark: Mark


class ConditionShape(Shape):
    """A fact about the set that nobody repairs."""

    label: Text
    states: Annotated[list[Id], Field(min_length=2)]
    labels: dict[Id, Text] = {}
    shares: list[Chance]
    strength: Positive | None = None
    odds: dict[Id, dict[ModeName, Positive]] = {}
    asked: bool = False
    age_from_years: list[Positive] | None = None
    after_repair: Id | None = None
    mark: Mark


class ClauseShape(Shape):
    """One clause of a rule."""

    when: When = {}
    is_: Id = Field(alias="is")


class RailShape(Shape):
    """A hidden link between parts."""

    label: Text
    states: Annotated[list[Id], Field(min_length=2)]
    given: Annotated[list[Id], Field(min_length=1)]
    rule: Annotated[list[ClauseShape], Field(min_length=1)]


class RowShape(Shape):
    """One written row of a table."""

    when: When = {}
    p: list[Chance]
    strength: Positive | None = None
    mark: Mark | None = None


class LinkShape(Shape):
    """How likely a cause alone is to show."""

    cause: Id
    when: Choice
    chance: Chance
    strength: Positive | None = None
    mark: Mark | None = None


class NoisyOrShape(Shape):
    """Many causes, each of which can bring about the same state by itself."""

    present: Id
    leak: Annotated[float, Field(ge=0, lt=1)]
    asked_with_leak: bool = False
    links: Annotated[list[LinkShape], Field(min_length=1)]


class EffectShape(Shape):
    """What a cause alone shows."""

    cause: Id
    when: Choice
    p: list[Chance]
    strength: Positive | None = None
    mark: Mark | None = None


class NoisyMaxShape(Shape):
    """Many causes, of whose effects the strongest is seen."""

    order: Annotated[list[Id], Field(min_length=2)]
    leak: list[Chance]
    asked_with_leak: bool = False
    effects: Annotated[list[EffectShape], Field(min_length=1)]


class PieceShape(Shape):
    """One piece of a mixture: exactly one of normal, limit, uniform and rail."""

    share: Chance = 1.0
    normal: Annotated[list[Ratio], Field(min_length=2, max_length=2)] | None = None
    uniform: Annotated[list[Ratio], Field(min_length=2, max_length=2)] | None = None
    limit: Annotated[list[Ratio], Field(min_length=2, max_length=2)] | None = None
    rail: Positive | None = None

    @model_validator(mode="after")
    def _one_kind(self) -> "PieceShape":
        if sum(kind is not None for kind in (self.normal, self.limit, self.uniform, self.rail)) != 1:
            raise ValueError("give exactly one of normal: [mean, sd], limit: [mean, sd], uniform: [from, to], rail: sd")
        for word, pair in (("normal", self.normal), ("limit", self.limit)):
            if pair is not None and not pair[1] > 0:
                raise ValueError(f"the sd of {word}: [mean, sd] must be above 0")
        if self.uniform is not None and not self.uniform[0] < self.uniform[1]:
            raise ValueError("uniform: [from, to] needs from below to")
        return self


class LevelShape(Shape):
    """Where the volts of a state lie."""

    when: dict[Id, Id] = {}
    mix: Annotated[list[PieceShape], Field(min_length=1)]


class OutlierShape(Shape):
    """The share of readings that say nothing, anywhere up to so many volts."""

    share: Annotated[float, Field(gt=0, le=0.5)]
    up_to_volts: Positive


class PatternShape(Shape):
    """What separate channels do in a state: all at `rest`, but for `count` of them at one of the levels `odd`."""

    rest: Id
    odd: Choice | None = None
    count: Annotated[list[NumberOfChannels], Field(min_length=2, max_length=2)] | None = None

    @model_validator(mode="after")
    def _both_or_none(self) -> "PatternShape":
        if (self.odd is None) != (self.count is None):
            raise ValueError("odd and count: [from, to] go together")
        if self.count is not None and self.count[0] > self.count[1]:
            raise ValueError("count: [from, to] needs from at most to")
        return self


class ReadingShape(Shape):
    """The distribution of a reading in every state."""

    unit: Literal["V"]
    given: list[Id] = []
    hold: Literal["steady", "max"]
    outliers: OutlierShape
    mark: Mark
    levels: dict[Id, Annotated[list[LevelShape], Field(min_length=1)]]
    settled: dict[Id, Annotated[list[LevelShape], Field(min_length=1)]] = {}
    start_pulse: dict[Id, Chance] = {}
    channels: Literal["same", "separate"] = "same"
    channel_sd: Positive | None = None
    usual_channels: NumberOfChannels | None = None
    patterns: dict[Id, PatternShape] = {}

    @model_validator(mode="after")
    def _channels(self) -> "ReadingShape":
        is_separate = self.channels == "separate"
        if is_separate != bool(self.patterns) or is_separate != (self.channel_sd is not None):
            raise ValueError("`channels: separate` goes with `patterns` and `channel_sd`, and these with it")
        if self.usual_channels is not None and not is_separate:
            raise ValueError("`usual_channels` goes with `channels: separate`")
        return self


class ObservationShape(Shape):
    """What a test shows."""

    label: Text
    short: Id | None = None
    also: list[Id] = []
    kind: Literal["finding", "reading"] = "finding"
    states: Annotated[list[Id], Field(min_length=2)]
    labels: dict[Id, Text] = {}
    given: list[Id] | None = None
    repeat: Literal["supersedes", "independent"] = "supersedes"
    needs_symptom: bool = True
    no_power_after: list[Id] = []
    strength: Positive | None = None
    mark: Mark
    table: Annotated[list[RowShape], Field(min_length=1)] | None = None
    noisy_or: NoisyOrShape | None = None
    noisy_max: NoisyMaxShape | None = None
    reading: ReadingShape | None = None

    @property
    def causes(self) -> list[str]:
        """The nodes it hangs on: those under `given`, or the causes of a noisy form, each once."""
        if self.noisy_or is not None:
            return list(dict.fromkeys(link.cause for link in self.noisy_or.links))
        if self.noisy_max is not None:
            return list(dict.fromkeys(effect.cause for effect in self.noisy_max.effects))
        return self.given or []

    @model_validator(mode="after")
    def _one_form(self) -> "ObservationShape":
        if sum(form is not None for form in (self.table, self.noisy_or, self.noisy_max)) != 1:
            raise ValueError("give exactly one of table, noisy_or and noisy_max")
        if (self.table is None) != (self.given is None):
            raise ValueError("a table needs `given`; a noisy form names its causes itself, without `given`")
        return self

    @model_validator(mode="after")
    def _reading_where_it_belongs(self) -> "ObservationShape":
        if (self.kind == "reading") != (self.reading is not None):
            raise ValueError("kind: reading and a `reading` section go together")
        return self


class NominalShape(Shape):
    """What is known of the nominal voltage."""

    volts: Positive | None = None
    from_volts: Positive
    to_volts: Positive
    input_rails_volts: Annotated[list[Positive], Field(min_length=1)]
    mark: Mark

    @model_validator(mode="after")
    def _in_order(self) -> "NominalShape":
        if not self.from_volts < self.to_volts:
            raise ValueError("from_volts must be below to_volts")
        return self


Reasons = Annotated[dict[Id, Text], Field(min_length=1)]


class RefusalShape(Shape):
    """A fact that decides whether the model fits the set: the states it fits, and the others with why not."""

    label: Text
    fits: Annotated[list[Id], Field(min_length=1)]
    refused: Reasons


class ContinuationShape(Shape):
    """The models that go on from a state, each with when it is the one, unless a condition says that none fits."""

    models: Reasons
    unless: dict[Id, Reasons] = {}


class OnwardShape(Shape):
    """Which model goes on from each state of an asked condition."""

    condition: Id
    states: Annotated[dict[Id, ContinuationShape], Field(min_length=1)]


class TranslationShape(Shape):
    """An observation in the words of another model."""

    as_: Id = Field(alias="as")
    states: Annotated[dict[Id, Choice], Field(min_length=1)]


class ComparisonShape(Shape):
    """The model that knows which complaint findings fit, and this model's findings in its words."""

    model: Id
    condition: Id
    state: Id
    findings: Annotated[dict[Id, TranslationShape], Field(min_length=1)]
