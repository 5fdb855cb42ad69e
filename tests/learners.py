"""Small models and what jobs say of them, for tests of learning."""

from collections.abc import Sequence
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from small_models import TINY, write_model

from faultnet.case import Case, parse_events
from faultnet.case.sequence import sequence_of
from faultnet.files import load_model
from faultnet.learning.maximise import Aim
from faultnet.learning.prepare import aim_at
from faultnet.model import Model
from faultnet.patterns import Pattern, Patterns


@cache
def model_of(text: str) -> Model:
    with TemporaryDirectory() as folder:
        return load_model(write_model(Path(folder), text))


def pattern(model: Model, events: Sequence[str], **told: object) -> Pattern:
    """What a job with these events says."""
    case = Case(tuple(parse_events(model, events)))
    is_told = bool(model.complaint) and case.tells(model.complaint)
    return Pattern(tuple(sequence_of(model, case)), is_told=is_told, **told)  # type: ignore[arg-type]


def aim_of(model: Model, *jobs: tuple[Pattern, int]) -> Aim:
    return aim_at(model, Patterns.of(model.id, jobs))


JOBS = (
    (["look=dark", "volts=0.1", "replace_lamp=not"], 4),
    (["look=dark", "volts=30", "replace_lamp=works"], 40),
    (["volts=zero"], 9),
    (["look=lit@unknown", "replace_lamp=works"], 12),
    (["look=dark", "volts=normal"], 15),
)


def tiny_aim(times: int = 1) -> Aim:
    model = model_of(TINY)
    return aim_of(model, *((pattern(model, events), times * n) for events, n in JOBS))
