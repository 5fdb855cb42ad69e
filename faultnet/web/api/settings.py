"""The shop's settings, for programs."""

from typing import Annotated

from fastapi import APIRouter
from pydantic import Field

from faultnet.errors import UsageProblem
from faultnet.shop import Shop
from faultnet.shop.edit import Change
from faultnet.telling.settings import settings_json
from faultnet.web.api.bodies import REFUSALS, Body, Json, Text, Word
from faultnet.web.visit import Visiting
from faultnet.workshop.setting import change

router = APIRouter(prefix="/api/settings", tags=["settings"], responses=REFUSALS)

ONLY_AT_THE_TERMINAL = "which database is used is changed only at the terminal of the machine that this page runs on"
SAY_SO = "trained_people_only: say with true that everybody who works at this bench is trained for powered steps"


class ChangeBody(Body):
    """A setting by its key, with its value as text; null to go back to the default."""

    key: Word = Field(examples=["shop.hourly_rate"])
    value: Text | None = Field(examples=["52"])


class ChangesBody(Body):
    """Settings to change, all or none. trained_people_only: has to be true where `shop.trained` is set to true.

    Only trained people do powered steps or open a panel; local rules and licensed practice go before what this says.
    """

    changes: Annotated[list[ChangeBody], Field(min_length=1, max_length=100)]
    trained_people_only: bool = False


@router.get("")
def shown(visit: Visiting) -> Json:
    """Every setting with its value and where it comes from. As `faultnet shop info --json`."""
    return settings_json(visit.workshop.shop)


@router.post("")
def changed(visit: Visiting, body: ChangesBody) -> Json:
    """Change settings, all or none; the settings as they are then. Comments in their file stay."""
    before = visit.workshop.shop

    def approve(after: Shop) -> None:
        if after.database != before.database:
            raise UsageProblem(ONLY_AT_THE_TERMINAL)
        if after.settings.trained and not before.settings.trained and not body.trained_people_only:
            raise UsageProblem(SAY_SO)

    change(visit.house.shop_file, [Change(each.key, each.value) for each in body.changes], approve)
    return settings_json(visit.house.workshop().shop)
