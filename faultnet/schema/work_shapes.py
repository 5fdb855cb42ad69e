"""The shapes of what can be done to a set: changes of set-up, tests and repairs."""

from typing import Annotated

from pydantic import AfterValidator, Field

from faultnet.schema.basic import Amount, Chance, Choice, Hazard, Id, Mark, Shape, Text, When


class SetupShape(Shape):
    """What a change of set-up takes."""

    change: Annotated[str, Field(pattern=r"^[a-z_]+=[a-z_]+$")]
    label: Text
    minutes: Amount
    minutes_large: Amount | None = None
    hazard: Hazard
    hazard_cover_off: Hazard | None = None
    cautions: list[Id] = []
    mark: Mark


class AlterationShape(Shape):
    """What doing a test may do to a component."""

    component: Id
    mode: Id
    to: Id
    chance: Annotated[Chance, Field(gt=0)]
    mark: Mark


class BenchTestShape(Shape):
    """An action that reveals observations."""

    label: Text
    how: str = ""
    reveals: Annotated[list[Id], Field(min_length=1)] | None = None
    minutes: Amount
    money: Amount = 0.0
    hazard: Hazard
    needs: dict[Id, Id] = {}
    leaves: dict[Id, Id] = {}
    after: list[Choice] = []
    cautions: list[Id] = []
    side_effect: str = ""
    alters: list[AlterationShape] = []
    mark: Mark


FourAmounts = Annotated[list[Amount], Field(min_length=4, max_length=4)]


def _low_to_high(value: list[float]) -> list[float]:
    if value[0] > value[1]:
        raise ValueError(f"[from, to] needs from at most to, not [{value[0]:g}, {value[1]:g}]")
    return value


LowHigh = Annotated[list[Amount], Field(min_length=2, max_length=2), AfterValidator(_low_to_high)]
FourRanges = Annotated[list[LowHigh], Field(min_length=4, max_length=4)]
FourChances = Annotated[list[Chance], Field(min_length=4, max_length=4)]


class RepairShape(Shape):
    """An action that sets components to ok."""

    label: Text
    also: list[Id] = []
    fixes: Annotated[list[Id], Field(min_length=1)]
    judged_by: Id | None = None
    success: Chance
    arrives_faulty: Chance = 0.0
    minutes_by_size: FourAmounts
    parts: FourRanges
    harm: FourChances
    comeback: Chance
    hazard: Hazard
    needs: dict[Id, Id] = {}
    after: list[Choice] = []
    proved_by: list[Annotated[When, Field(min_length=1)]] = []
    cautions: list[Id] = []
    advice: str = ""
    mark: Mark
