"""A printable page as PDF, through fpdf2 (the `report` extra)."""

from collections.abc import Sequence
from typing import Any

from faultnet.errors import UsageProblem
from faultnet.telling.block import Block, Line, Table
from faultnet.telling.paper import Paper

SIZES_PT = (9.0, 8.5, 8.0, 7.5, 7.0, 6.5, 6.0, 5.5, 5.0)
"""Sizes of the text that are tried until all is on one page."""

_MARGIN_MM = 11


def pdf_bytes(paper: Paper) -> bytes:
    """The page, its text as large as one A4 page allows. UsageProblem: the package for it is not installed."""
    try:
        import fpdf
    except ImportError:
        raise UsageProblem("a PDF needs the package fpdf2: install .[report], or write FILE.html") from None
    for size in SIZES_PT if paper.one_page else SIZES_PT[:1]:
        pdf = fpdf.FPDF(format="A4")
        pdf.set_margin(_MARGIN_MM)
        pdf.set_auto_page_break(True, _MARGIN_MM)
        pdf.add_page()
        pdf.set_title(_plain(paper.title))
        _write(pdf, paper, size)
        if pdf.pages_count == 1:
            break
    return bytes(pdf.output())


def _write(pdf: Any, paper: Paper, size: float) -> None:
    height = size * 0.43
    pdf.set_font("helvetica", "B", size + 4)
    pdf.multi_cell(0, height + 2, _plain(paper.title), new_x="LMARGIN", new_y="NEXT")
    for block in paper.blocks:
        _write_block(pdf, block, size, height)
    pdf.set_font("helvetica", "", size - 1)
    pdf.multi_cell(0, height, _plain(paper.foot), new_x="LMARGIN", new_y="NEXT")


def _write_block(pdf: Any, block: Block, size: float, height: float) -> None:
    if block.heading:
        pdf.set_font("helvetica", "B", size + 1)
        pdf.cell(0, height + 2, _plain(block.title), new_x="LMARGIN", new_y="NEXT")
    smaller = 1.0 if block.is_small else 0.0
    _write_lines(pdf, block.lines, size - smaller, height - 0.4 * smaller)
    if block.table is not None and block.table.rows:
        _write_table(pdf, block.table, size, height)
    _write_lines(pdf, block.beneath, size - smaller, height - 0.4 * smaller)


def _write_lines(pdf: Any, lines: Sequence[Line], size: float, height: float) -> None:
    pdf.set_font("helvetica", "", size)
    for line in lines:
        pdf.multi_cell(0, height, _plain(f"- {line.text}"), new_x="LMARGIN", new_y="NEXT")


def _write_table(pdf: Any, table: Table, size: float, height: float) -> None:
    pdf.ln(1)
    pdf.set_font("helvetica", "", size)
    named: dict[str, Any] = {"first_row_as_headings": bool(table.header), "line_height": height}
    with pdf.table(col_widths=table.widths or None, text_align="LEFT", **named) as drawn:
        for row in (table.header, *table.rows) if table.header else table.rows:
            drawn.row(tuple(_plain(cell) for cell in row))


def _plain(text: str) -> str:
    """Text in the letters of the built-in fonts (Latin-1); others become a question mark."""
    return text.encode("latin-1", "replace").decode("latin-1")
