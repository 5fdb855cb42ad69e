"""A printable page as a value, written as HTML or PDF; nothing in it comes from elsewhere."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path

from faultnet.errors import UsageProblem
from faultnet.telling.block import Block, Line, Table


@dataclass(frozen=True)
class Paper:
    """All that stands on it. one_page: the text shrinks until a single page holds it."""

    title: str
    blocks: tuple[Block, ...]
    foot: str
    one_page: bool = True


def write_paper(file: Path, paper: Paper, option: str) -> None:
    """Write it, as PDF where the name ends so, else as HTML. option: where the name was typed.

    UsageProblem: PDF without the package for it, or the file cannot be written.
    """
    try:
        if file.suffix.lower() == ".pdf":
            from faultnet.telling.paper_pdf import pdf_bytes

            file.write_bytes(pdf_bytes(paper))
        else:
            file.write_text(html_text(paper), encoding="utf-8")
    except OSError as error:
        raise UsageProblem(f"{option} {file}: {error.strerror or error}") from None


_STYLE = """
@page { size: A4; margin: 11mm }
body { font: 9pt/1.25 sans-serif; color: #111; max-width: 190mm; margin: auto }
h1 { font-size: 13pt; margin: 0 0 1mm } h2 { font-size: 10pt; margin: 2mm 0 1mm }
ul { margin: 0; padding-left: 4mm } table { border-collapse: collapse; width: 100% }
td, th { border-top: .3mm solid #999; padding: .6mm 1mm; vertical-align: top; text-align: left }
td:first-child { font-weight: bold }
.small { font-size: 7.5pt; columns: 2 }
footer { font-size: 7.5pt; margin-top: 2mm; border-top: .3mm solid #111 }
"""


def html_text(paper: Paper) -> str:
    """The page as HTML."""
    return "\n".join(
        [
            '<!doctype html><html lang="en"><head><meta charset="utf-8">',
            f"<title>{escape(paper.title)}</title><style>{_STYLE}</style></head><body>",
            f"<h1>{escape(paper.title)}</h1>",
            *(line for block in paper.blocks for line in _html_block(block)),
            f"<footer>{_cell(paper.foot)}</footer></body></html>",
            "",
        ]
    )


def _html_block(block: Block) -> Iterator[str]:
    if block.heading:
        yield f"<h2>{escape(block.title)}</h2>"
    yield from _html_lines(block.lines, is_small=block.is_small)
    if block.table is not None and block.table.rows:
        yield from _html_table(block.table)
    yield from _html_lines(block.beneath, is_small=block.is_small)


def _html_lines(lines: Sequence[Line], *, is_small: bool) -> Iterator[str]:
    if lines:
        kind = ' class="small"' if is_small else ""
        yield f"<ul{kind}>" + "".join(f"<li>{escape(line.text)}</li>" for line in lines) + "</ul>"


def _html_table(table: Table) -> Iterator[str]:
    widths = "".join(f'<col style="width:{width}%">' for width in table.widths)
    head = "".join(f"<th>{escape(cell)}</th>" for cell in table.header)
    yield f"<table><colgroup>{widths}</colgroup>" + (f"<tr>{head}</tr>" if head else "")
    for row in table.rows:
        yield "<tr>" + "".join(f"<td>{_cell(cell)}</td>" for cell in row) + "</tr>"
    yield "</table>"


def _cell(text: str) -> str:
    return "<br>".join(map(escape, text.split("\n")))
