"""Results as plain values, for JSON."""

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from math import isfinite
from typing import Any

import numpy as np

from faultnet.statistics.estimate import Estimate


def plain(value: Any) -> Any:
    """A result as plain values, for JSON; numbers that are infinite, or not there, are null."""
    if isinstance(value, Estimate):
        return dict(zip(("value", "low", "high"), map(plain, value), strict=True))
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, Mapping):
        return {name: plain(each) for name, each in value.items()}
    if isinstance(value, list | tuple):
        return [plain(each) for each in value]
    if is_dataclass(value):
        return plain(of_fields(value))
    return None if isinstance(value, float) and not isfinite(value) else value


def of_fields(value: Any) -> dict[str, Any]:
    """The fields of a result, and whether it rests on few jobs."""
    told = {each.name: getattr(value, each.name) for each in fields(value)}
    return {**told, **({"is_few": value.is_few} if hasattr(value, "is_few") else {})}
