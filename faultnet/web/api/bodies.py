"""What programs send: checked for its shape here, for its sense where people's words are."""

from typing import Annotated, Any

from fastapi import Path
from pydantic import BaseModel, ConfigDict, Field

Json = dict[str, Any]

MOST_TEXT = 2_000

Text = Annotated[str, Field(max_length=MOST_TEXT)]
Word = Annotated[str, Field(max_length=200)]
Few = Annotated[list[Word], Field(max_length=100)]

JobPath = Annotated[
    str, Path(max_length=60, description="The job's number; a stroke in it is written ~.", examples=["1001"])
]
SeqPath = Annotated[int, Path(ge=1, le=10**9, description="The entry's number.")]


class Body(BaseModel):
    """A body, of which every name must be known."""

    model_config = ConfigDict(extra="forbid")


class Problems(BaseModel):
    """What is wrong, a sentence each; nothing was written."""

    problems: list[str]


REFUSALS: dict[int | str, dict[str, Any]] = {
    400: {"model": Problems, "description": "No JSON that can be read."},
    401: {"model": Problems, "description": "The PIN is missing or wrong."},
    403: {"model": Problems, "description": "Sent from another page."},
    404: {"model": Problems, "description": "There is no such job."},
    409: {"model": Problems, "description": "Not possible now: see `problems`."},
    413: {"model": Problems, "description": "Too large."},
    422: {"model": Problems, "description": "Something cannot be understood; all of it is listed."},
    503: {"model": Problems, "description": "The database cannot be reached."},
}
"""The answers that any call may have."""


class OpeningBody(Body):
    """A set that comes in. facts: panel, board, size, age, hours, occurrence, nominal, leds, each as text."""

    model: Word = Field(examples=["backlight"])
    number: Word = ""
    facts: dict[Word, Word] = Field(default_factory=dict, max_length=20, examples=[{"size": "50", "nominal": "54"}])
    given: Few = Field(default_factory=list)
    at: Word = ""
    note: Text = ""
    by: Word = ""


class EntriesBody(Body):
    """What was seen, measured or is known. events: as typed for `faultnet job add`."""

    events: Few = Field(default_factory=list, examples=[["sound=present", "loaded_voltage=0.1,0,0.2"]])
    at: Word = Field("", examples=["cover=off,mains=off"])
    given: Few = Field(default_factory=list)
    facts: dict[Word, Word] = Field(default_factory=dict, max_length=20)
    note: Text = ""


class EventBody(Body):
    """What stands in the place of an entry."""

    event: Word = Field(examples=["startup_flash=none"])


class WhyBody(Body):
    """Why."""

    why: Text = ""


class SkipBody(Body):
    """A test that will not be made."""

    test: Word = Field(examples=["thermal"])
    why: Text = ""


class ModelBody(Body):
    """The model that goes on."""

    model: Word = Field(examples=["backlight"])


class PartBody(Body):
    """A part that went in. strips, leds: how many, and LEDs of one; price: in the shop's money."""

    repair: Word
    old_code: Annotated[str, Field(max_length=60)] = ""
    new_code: Annotated[str, Field(max_length=60)] = ""
    source: Word = "new"
    strips: Annotated[int, Field(ge=1, le=999)] | None = None
    leds: Annotated[int, Field(ge=1, le=999)] | None = None
    price: Annotated[float, Field(ge=0, le=1e7, allow_inf_nan=False)] | None = None


class RepairBody(Body):
    """A repair that was made, or several at once. sure: although something looks odd.

    seen: how many entries of the job were looked at; where there are more by now, nothing is written.
    """

    repairs: Annotated[list[Word], Field(min_length=1, max_length=10)] = Field(examples=[["replace_strips"]])
    works: bool
    parts: Annotated[list[PartBody], Field(max_length=10)] = Field(default_factory=list)
    sure: bool = False
    note: Text = ""
    seen: Annotated[int, Field(ge=0, le=10**9)] | None = None


class PriceBody(Body):
    """The price that was named to the customer, in the shop's money."""

    price: Annotated[float, Field(ge=0, le=1e7, allow_inf_nan=False)]
    note: Text = ""


class AnswerBody(Body):
    """What the customer said to it."""

    agreed: bool
    note: Text = ""


class MoveBody(Body):
    """The stage to go to: waiting, agreed, on_test, tested, watched or done."""

    to: Word = Field(examples=["on_test"])
    note: Text = ""


class ClosingBody(Body):
    """How a job ended. parts and price: None for what was entered, and the price named."""

    outcome: Word = Field(examples=["fixed"])
    verification: Word = ""
    hours_on_test: Annotated[float, Field(ge=0, le=1000, allow_inf_nan=False)] | None = None
    minutes: Annotated[float, Field(ge=0, le=6000, allow_inf_nan=False)] | None = None
    parts: Annotated[float, Field(ge=0, le=1e7, allow_inf_nan=False)] | None = None
    price: Annotated[float, Field(ge=0, le=1e7, allow_inf_nan=False)] | None = None
    note: Text = ""
    by: Word = ""


class ComebackBody(Body):
    """A set that came back. symptom: same or other; model: "" for the one of the earlier job."""

    symptom: Word = Field(examples=["same"])
    model: Word = ""
    number: Word = ""
    note: Text = ""
    by: Word = ""


class AskedBody(Body):
    """What is asked of a set that has no job, as for `faultnet next`."""

    model: Word = Field(examples=["backlight"])
    events: Few = Field(default_factory=list, examples=[["sound=present", "flashlight=image_seen"]])
    given: Few = Field(default_factory=list)
    at: Word = ""
    size_inches: Annotated[float, Field(ge=5, le=200, allow_inf_nan=False)] | None = None
    nominal_volts: Annotated[float, Field(ge=5, le=600, allow_inf_nan=False)] | None = None
    leds: Word = ""
    panel: Word = ""
    board: Word = ""
    trained: bool | None = None
    without_complaint: bool = False
