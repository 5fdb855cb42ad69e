"""The answer of `faultnet calibration` as JSON."""

from dataclasses import asdict
from typing import Any

from faultnet.analysis.calibration import Calibration
from faultnet.analysis.judged import Judged
from faultnet.statistics.reliability import Diagram
from faultnet.statistics.scores import Parts
from faultnet.telling.plain import plain

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
    told: dict[str, Any] = plain(document)
    return told


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
