"""How an analyst's answers are shown: as text or as JSON, with rows and a plot in files."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from faultnet.cli.terminal import note
from faultnet.sheets.write import checked_suffix, write_frame

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
