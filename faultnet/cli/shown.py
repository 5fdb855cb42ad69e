"""How an analyst's answers are shown: as text or as JSON, with rows and a plot in files."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, is_dataclass
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from faultnet.cli.terminal import note
from faultnet.sheets.write import checked_suffix, write_frame
from faultnet.statistics.estimate import Estimate

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure


@dataclass(frozen=True)
class Shown:
    """Rows and a plot into files, the answer as JSON, or as text, all of it or the most of it."""

    out: Path | None = None
    plot: Path | None = None
    as_json: bool = False
    full: bool = False

    def check(self) -> None:
        """UsageProblem: a file's name does not say what to write; to be asked before long work."""
        if self.out is not None:
            checked_suffix(self.out)
        if self.plot is not None:
            from faultnet.plots.figure import check_name

            check_name(self.plot)

    def write(self, frame: "pd.DataFrame", draw: Callable[[], "Figure"]) -> None:
        """Write the files that are wanted. FileProblem: one cannot be written."""
        if self.out is not None:
            note(f"{write_frame(self.out, frame)} rows written to {self.out}")
        if self.plot is not None:
            from faultnet.plots.figure import save

            save(draw(), self.plot)
            note(f"drawn in {self.plot}")


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
