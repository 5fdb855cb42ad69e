"""Blocks as text on a terminal."""

from collections.abc import Iterable, Iterator

from faultnet.cli.terminal import bold, columns, table, wrapped, wrapped_table
from faultnet.telling.block import Block, Line, Table

_INDENT = 2


def text_of(blocks: Iterable[Block]) -> str:
    """All of it within the width, an empty line between what does not belong close together."""
    return "\n".join(_lines(blocks))


def _lines(blocks: Iterable[Block]) -> Iterator[str]:
    for number, block in enumerate(blocks):
        if number and not block.is_close:
            yield ""
        if block.heading:
            yield bold(block.heading) + (f"  ({block.aside})" if block.aside else "")
        yield from map(_line, block.lines)
        if block.table is not None:
            yield from table_lines(block.table)
        yield from map(_line, block.beneath)


def _line(line: Line) -> str:
    indent = _INDENT * line.level
    return wrapped(line.text, indent, indent + _INDENT if line.hangs else indent)


def table_lines(shown: Table) -> list[str]:
    """A table as lines: as wide as they are, or folded, or without the column that can be missed and then folded."""
    rows = [shown.header, *shown.rows] if shown.header else [*shown.rows]
    aligned = shown.aligned or "l" * len(rows[0])
    if shown.spare is None:
        return wrapped_table(rows, aligned) if shown.folds else table(rows, aligned)
    lines = table(rows, aligned)
    if max(map(len, lines)) <= columns():
        return lines
    fewer = [row[: shown.spare] + row[shown.spare + 1 :] for row in rows]
    return wrapped_table(fewer, aligned[: shown.spare] + aligned[shown.spare + 1 :])
