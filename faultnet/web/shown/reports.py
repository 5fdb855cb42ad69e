"""Reports in one line each, and what was asked in words."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from faultnet.store.reports import Report
from faultnet.telling.job import moment

KINDS: Mapping[str, str] = {
    "tune": "What past jobs change",
    "rates": "How often what was the case",
    "calibration": "Can its chances be trusted?",
}
"""How reports are headed, by kind."""

WHERE: Mapping[str, str] = {"tune": "/tuning", "rates": "/rates", "calibration": "/calibration"}
"""Where reports are asked for, by kind."""

_USUAL: Mapping[str, Any] = {"strength": 1.0, "half_life_months": 0.0, "seed": 0, "watched_days": 90.0}


@dataclass(frozen=True)
class ReportRow:
    """A report. asked, stands: in words."""

    id: int
    at: str
    by: str
    asked: str
    stands: str


def report_rows(found: Iterable[Report]) -> tuple[ReportRow, ...]:
    """Reports as they are listed."""
    return tuple(ReportRow(each.id, moment(each.at), each.by, asked_words(each), _stands(each)) for each in found)


def asked_words(report: Report) -> str:
    """What was asked: "backlight, since 2031-01-01"."""
    return ", ".join(filter(None, (_part(name, value) for name, value in report.asked.items())))


def _part(name: str, value: Any) -> str:
    if value in ("", None, False, []) or _USUAL.get(name) == value:
        return ""
    words = name.replace("_", " ")
    if value is True:
        return words
    each = value if isinstance(value, list) else [value]
    told = " and ".join(f"{one:g}" if isinstance(one, float) else str(one).replace("_", " ") for one in each)
    return told if name in ("model", "of") else f"{words} {told}"


def _stands(report: Report) -> str:
    if report.is_open:
        return "being worked out"
    return "nothing came of it" if report.failed else f"accepted as {report.led_to}" if report.led_to else "done"
