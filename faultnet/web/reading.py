"""Cautions are read before what a powered step showed is entered, whichever screen it is entered on."""

from collections.abc import Sequence

from faultnet.case.entry import observation_names
from faultnet.errors import FaultnetError, UsageProblem
from faultnet.web.shown.step import READ_FIRST_FROM
from faultnet.web.visit import Form, Visit


class CautionsFirst(UsageProblem):
    """The cautions of a powered step have to be read first. cautions: what they are."""

    def __init__(self, label: str, cautions: tuple[str, ...]) -> None:
        self.label, self.cautions = label, cautions
        super().__init__(f"read the cautions of this step first: {label}. Nothing was written")


def check_read(visit: Visit, number: str, form: Form, events: Sequence[str]) -> None:
    """UsageProblem: what a step from hazard 2 on shows comes on a form that does not stand behind its cautions.

    events: as they are typed, or names of observations alone.
    """
    if form.text("read") == "yes":
        return
    found = visit.look(number)
    model = found.bench.model
    names = {observation_names(model).get(text.partition("=")[0].strip()) for text in events}
    hazards = {ranked.test: ranked.step.hazard for ranked in found.ranking.tests}
    for test in model.tests.values():
        if names & {*test.reveals} and max(test.hazard, hazards.get(test.id, 0)) >= READ_FIRST_FROM:
            raise CautionsFirst(test.label, tuple(caution.text for caution in test.cautions))


def cautions_of(error: FaultnetError | None) -> tuple[str, ...]:
    """What has to be read first; nothing where something else is wrong."""
    return error.cautions if isinstance(error, CautionsFirst) else ()
