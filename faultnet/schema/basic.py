"""The numbers, names and texts that the shapes of a model file are made of."""

from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

Id = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$", max_length=60)]
ModeName = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*\.[a-z][a-z0-9_]*$")]
Text = Annotated[str, Field(min_length=1, max_length=2000)]
Mark = Annotated[str, Field(pattern=r"^(practice|reasoned|published: .+)$")]
Chance = Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)]
Amount = Annotated[float, Field(ge=0, le=1e6, allow_inf_nan=False)]
Positive = Annotated[float, Field(gt=0, le=1e6, allow_inf_nan=False)]
Ratio = Annotated[float, Field(ge=-10, le=10, allow_inf_nan=False)]
Hazard = Annotated[int, Field(ge=0, le=4)]


def _as_list(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


Choice = Annotated[list[Id], BeforeValidator(_as_list), Field(min_length=1)]
When = dict[Id, Choice]


class Shape(BaseModel):
    """A mapping with these keys and no others; nothing is converted silently."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)
