"""What can be chosen where past jobs are asked about."""

from collections.abc import Mapping
from contextlib import suppress

from faultnet.analysis.targets import COMEBACKS, COMPONENT, MODE
from faultnet.counting.columns import names_of_columns
from faultnet.counting.returns import REPAIR, SOURCE
from faultnet.errors import FaultnetError
from faultnet.files.finder import list_models
from faultnet.files.load import shared_model
from faultnet.model import Model

USUAL_MODEL = "backlight"

_WORDS = {COMPONENT: "parts", MODE: "failure modes", COMEBACKS: "sets that came back", SOURCE: "where parts came from"}


def models_to_choose() -> Mapping[str, str]:
    """Every model that can be read by its id, with its title; one whose file is damaged shuts nobody out."""
    titles = {}
    for name in list_models():
        with suppress(FaultnetError):
            titles[name] = shared_model(name).title
    return titles


def usual_model(chosen: str) -> str:
    """The model that was chosen, else the usual one, where it is there."""
    return chosen or (USUAL_MODEL if USUAL_MODEL in list_models() else "")


def rated_to_choose(model: Model) -> Mapping[str, str]:
    """What shares are of, and comebacks, in words."""
    return _in_words((COMPONENT, MODE, COMEBACKS, *names_of_columns(model)))


def by_to_choose(model: Model) -> Mapping[str, str]:
    """By what shares and comebacks are told, in words."""
    return _in_words((*names_of_columns(model), REPAIR, SOURCE))


def _in_words(names: tuple[str, ...]) -> Mapping[str, str]:
    return {name: _WORDS.get(name, name.replace("_", " ")) for name in names}
