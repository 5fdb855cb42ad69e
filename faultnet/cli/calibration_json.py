"""The answer of `faultnet calibration` as JSON and as rows of text."""

from collections.abc import Iterator, Mapping
from dataclasses import asdict
from math import isfinite
from typing import TYPE_CHECKING, Any

from faultnet.analysis.calibration import Calibration
from faultnet.analysis.judged import Judged
from faultnet.statistics.reliability import Diagram
from faultnet.statistics.scores import Parts

if TYPE_CHECKING:
    import pandas as pd

SCHEMA_VERSION = 1


def as_document(found: Calibration) -> dict[str, Any]:
    """All of it as plain values; numbers that are infinite, or not there, are null."""
    document = {
        "schema_version": SCHEMA_VERSION,
        "invented_shop": found.is_invented,
        "model": found.model,
        "since": found.since,
        "n_learned": found.n_learned,
        "may_know_these_jobs": found.may_know,
        "n_verified": found.n_verified,
        "repairs": _judged(found.repairs),
        "causes": None if found.causes is None else _judged(found.causes),
    }
    plain: dict[str, Any] = _plain(document)
    return plain


def as_rows(frame: "pd.DataFrame") -> tuple[list[str], Iterator[Mapping[str, str]]]:
    """The columns of a frame, and its rows as text."""
    columns = [str(column) for column in frame.columns]
    return columns, ({str(name): str(value) for name, value in row.items()} for row in frame.to_dict("records"))


def _judged(judged: Judged) -> dict[str, Any]:
    by_part = [
        {**asdict(each), "is_few": each.is_few, "parts": _parts(each.parts), "diagram": _diagram(each.diagram)}
        for each in judged.by_part
    ]
    return {
        **asdict(judged),
        "diagram": _diagram(judged.diagram),
        "parts": _parts(judged.parts),
        "by_part": by_part,
        "watch": {**asdict(judged.watch), "alarm_since": judged.watch.since},
    }


def _diagram(shown: Diagram) -> dict[str, Any]:
    bins = [{**asdict(each), "observed": each.observed, "is_outside": each.is_outside} for each in shown.bins]
    return {"bins": bins, "p_value": shown.p_value, "holds": shown.holds}


def _parts(own: Parts) -> dict[str, Any]:
    return {**asdict(own), "score": own.score, "skill": own.skill}


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {name: _plain(each) for name, each in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(each) for each in value]
    if isinstance(value, float) and not isfinite(value):
        return None
    return value
