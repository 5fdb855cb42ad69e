"""The shape of a node of an imported network."""

from typing import Annotated, Literal

from pydantic import Field

from faultnet.schema.basic import Chance, Id, Shape, Text


class NetworkNodeShape(Shape):
    """A node of an imported network: a row for each combination of the given nodes, the last of them fastest."""

    kind: Literal["component", "rail", "observation"]
    label: Text
    states: Annotated[list[Id], Field(min_length=1)]
    labels: dict[Id, Text] = Field(default_factory=dict)
    given: list[Id] = Field(default_factory=list)
    table: Annotated[list[list[Chance]], Field(min_length=1)]
