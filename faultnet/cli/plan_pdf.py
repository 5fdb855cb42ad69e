"""A plan's page as PDF, through fpdf2 (the `report` extra)."""

from faultnet.cli.plan_sheet import Sheet
from faultnet.errors import UsageProblem

SIZES_PT = (9.0, 8.5, 8.0, 7.5, 7.0, 6.5, 6.0, 5.5, 5.0)
"""Sizes of the text that are tried until all is on one page."""

_MARGIN_MM = 11
_COLUMNS = (5, 53, 42)


def pdf_bytes(sheet: Sheet) -> bytes:
    """The page, its text as large as one A4 page allows. UsageProblem: the package for it is not installed."""
    try:
        import fpdf
    except ImportError:
        raise UsageProblem("a PDF needs the package fpdf2: install .[report], or write FILE.html") from None
    for size in SIZES_PT:
        pdf = fpdf.FPDF(format="A4")
        pdf.set_margin(_MARGIN_MM)
        pdf.set_auto_page_break(True, _MARGIN_MM)
        pdf.add_page()
        pdf.set_title(_plain(sheet.title))
        _write(pdf, sheet, size)
        if pdf.pages_count == 1:
            break
    return bytes(pdf.output())


def _write(pdf: "fpdf.FPDF", sheet: Sheet, size: float) -> None:  # type: ignore[name-defined]  # noqa: F821
    height = size * 0.43
    pdf.set_font("helvetica", "B", size + 4)
    pdf.multi_cell(0, height + 2, _plain(sheet.title), new_x="LMARGIN", new_y="NEXT")
    pdf.set_font("helvetica", "", size)
    for fact in sheet.facts:
        pdf.multi_cell(0, height, _plain(fact), new_x="LMARGIN", new_y="NEXT")
    pdf.set_font("helvetica", "B", size + 1)
    pdf.cell(0, height + 2, "Before a step, the cautions that name its number", new_x="LMARGIN", new_y="NEXT")
    pdf.set_font("helvetica", "", size - 1)
    for text in sheet.cautions:
        pdf.multi_cell(0, height - 0.4, _plain(f"! {text}"), new_x="LMARGIN", new_y="NEXT")
    pdf.ln(1)
    pdf.set_font("helvetica", "", size)
    with pdf.table(col_widths=_COLUMNS, first_row_as_headings=True, line_height=height, text_align="LEFT") as table:
        table.row(("", "Step", "If you see, go on"))
        for row in sheet.rows:
            goes = "\n".join(f"{shown}: {leads}" for shown, leads in row.shows)
            table.row((str(row.number), _plain(f"{row.does}\n{row.notes}"), _plain(goes)))
    pdf.set_font("helvetica", "", size - 1)
    pdf.multi_cell(0, height, _plain(sheet.foot), new_x="LMARGIN", new_y="NEXT")


def _plain(text: str) -> str:
    """Text in the letters of the built-in fonts (Latin-1); others become a question mark."""
    return text.encode("latin-1", "replace").decode("latin-1")
