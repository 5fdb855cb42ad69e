"""A table that somebody wants taken in: which model its jobs are about, how it is written, what its columns are."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from faultnet.errors import UsageProblem
from faultnet.files import load_model
from faultnet.files.finder import is_path
from faultnet.history.mapping import Splitting, from_data, match_columns, splitting_from
from faultnet.history.row import AFTER, BEFORE
from faultnet.history.translate import DAYS
from faultnet.sheets.read import read_column, read_table
from faultnet.workshop.importing import Source
from faultnet.workshop.workshop import Workshop

NO_MODEL = "--model: say which model the jobs are about, such as --model backlight"


@dataclass(frozen=True)
class Told:
    """What is told of a table beside what stands in it; "" where nothing is.

    sheet: of a spreadsheet; encoding, delimiter: of text; days: how they are written. mapping: of columns what they
    are, and how repairs are taken apart, as `history.mapping.as_data` has it; None: as they look.
    """

    model: str = ""
    sheet: str = ""
    encoding: str = ""
    delimiter: str = ""
    decimal_comma: bool = False
    days: str = ""
    mapping: Mapping[str, Any] | None = None


def source_of(workshop: Workshop, file: Path, told: Told) -> Source:
    """The table in a file, as `importing` reads it. UsageProblem: what is told does not fit it."""
    head = read_table(file, told.sheet, told.encoding, told.delimiter)
    model = load_model(told.model or _model_in(head.columns, file, told))
    if told.mapping is None:
        uses, splitting = match_columns(head.columns, model), Splitting()
    else:
        uses, splitting = from_data(told.mapping, head.columns, model), splitting_from(told.mapping, model)
    if told.days:
        uses = tuple(replace(use, format=told.days) if use.is_ in DAYS else use for use in uses)
    comma = told.decimal_comma or (workshop.shop.settings.decimal_comma and not _is_our_own(head.columns))
    return Source(file, model, told.sheet, head.encoding, head.delimiter, comma, uses, splitting)


def _is_our_own(columns: tuple[str, ...]) -> bool:
    """Whether we wrote a table ourselves; then its commas part points, whatever the shop's are."""
    return {*BEFORE, *AFTER} <= {*columns}


def _model_in(columns: tuple[str, ...], file: Path, told: Told) -> str:
    """The model that a table of ours names in its rows. UsageProblem: it names none, or several, or a file."""
    if "model" in columns:
        cells = read_column(file, columns.index("model"), told.sheet, told.encoding, told.delimiter)
        named = {cell for cell in cells if cell}
        if paths := sorted(filter(is_path, named)):
            raise UsageProblem(f"{file}: {paths[0]}: a table names a model by its id, never by a file")
        if len(named) == 1:
            return named.pop()
        if named:
            raise UsageProblem(f"{file} has jobs of {', '.join(sorted(named))}; take them in one after the other")
    raise UsageProblem(NO_MODEL)
