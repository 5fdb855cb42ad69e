"""Text in a CSV cell that a spreadsheet may open: nothing in it runs as a formula, and it reads back as it was.

A cell that starts with a formula's sign gets an apostrophe before it (as the OWASP page "CSV Injection" advises; value
from memory), and so does such a sign after `;` or a tab, where a spreadsheet that parts cells there would start one.
"""

import re

_FORMULA = re.compile("(^|[;\t])('*)(?= *[=+\\-@\uff1d\uff0b\uff0d\uff20])")
"""Where a formula would start, and the apostrophes before it; the last four signs are the full-width ones."""


def defused(text: str) -> str:
    """The text as it is written into a cell.

    >>> defused("=1+1"), defused("54 V")
    ("'=1+1", '54 V')
    """
    return _FORMULA.sub(r"\1'\2", text)


def restored(cell: str) -> str:
    """The text that was defused into this cell."""
    return cell if "'" not in cell else _FORMULA.sub(lambda found: found[1] + found[2][1:], cell)
