"""The list of nominal voltages, for programs."""

from datetime import date
from typing import Annotated, Literal

from fastapi import APIRouter
from pydantic import Field

from faultnet.jobs.codes import code_key
from faultnet.shop.voltages import LEAST_VOLTS, MOST_VOLTS
from faultnet.store.voltages import insert_voltages, read_voltages
from faultnet.telling.voltages import entries_json
from faultnet.web.api.bodies import REFUSALS, Body, Json
from faultnet.web.visit import Visiting
from faultnet.workshop.voltages_typed import LONGEST_CODE, LONGEST_NOTE, Named, VoltsTyped, doubts, parse_entry

router = APIRouter(prefix="/api/voltages", tags=["voltages"], responses=REFUSALS)

FIELDS = Named("code", "loaded_volts", "unplugged_volts", "source", "day", "note", "it is sent as a number")

Volts = Annotated[float, Field(ge=LEAST_VOLTS, le=MOST_VOLTS, allow_inf_nan=False)]


class VoltagesBody(Body):
    """What was read on a working set, or stands on a label or data sheet; one of the two voltages at least.

    loaded_volts: at the LED plug, LEDs plugged; unplugged_volts: LED cable out, max hold from switch-on.
    """

    kind: Literal["panel", "board"] = "panel"
    code: Annotated[str, Field(max_length=LONGEST_CODE)] = Field(examples=["PX-1040"])
    loaded_volts: Volts | None = Field(None, examples=[54.2])
    unplugged_volts: Volts | None = None
    source: Literal["measured", "label", "data_sheet"] = "measured"
    day: date | None = None
    note: Annotated[str, Field(max_length=LONGEST_NOTE)] = ""


@router.get("")
def listed(visit: Visiting, code: str = "") -> Json:
    """The entries, of one code or of all, and what they say of the next set. As `faultnet voltages list --json`."""
    with visit.workshop.database.read() as connection:
        entries = read_voltages(connection)
    shown = [entry for entry in entries if not code or code_key(entry.code) == code_key(code)]
    return entries_json(visit.workshop.database.shown, shown)


@router.post("", status_code=201)
def added(visit: Visiting, body: VoltagesBody) -> Json:
    """Add an entry; what the list says of its code then, and what to check about it."""
    texts = ("" if volts is None else f"{volts:.6f}" for volts in (body.loaded_volts, body.unplugged_volts))
    loaded, unplugged = texts
    day = "" if body.day is None else body.day.isoformat()
    typed = VoltsTyped(body.kind, body.code, loaded, unplugged, body.source, day, body.note)
    entry = parse_entry(typed, visit.workshop.clock().date(), decimal_comma=False, named=FIELDS)
    with visit.workshop.database.write() as connection:
        before = read_voltages(connection)
        insert_voltages(connection, [entry])
    same = [each for each in (*before, entry) if each.is_of(entry.kind, entry.code)]
    return {**entries_json(visit.workshop.database.shown, same), "doubts": list(doubts(entry, before))}
