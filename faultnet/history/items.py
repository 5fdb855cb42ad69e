"""Several items in one cell, and back: `a; b` with a backslash before what would part them."""

import re
from collections.abc import Iterable

_PARTED = re.compile(r"((?:[^\\;]|\\.)*)(?:;|$)", flags=re.DOTALL)
_FIELDS = re.compile(r"((?:[^\\,]|\\.)*)(?:,|$)", flags=re.DOTALL)


def joined(items: Iterable[str], mark: str = ";") -> str:
    """Items in one cell. mark: what parts them, `;` or `,`.

    >>> joined(["a", "b; c"])
    'a; b\\\\; c'
    """
    return f"{mark} ".join(item.replace("\\", "\\\\").replace(mark, f"\\{mark}") for item in items)


def parted(cell: str, mark: str = ";") -> list[str]:
    """The items of a cell, without blanks around them; none of an empty one.

    >>> parted('a; b\\\\; c')
    ['a', 'b; c']
    """
    if mark not in cell and "\\" not in cell:
        return [cell.strip()] if cell.strip() else []
    pattern = _PARTED if mark == ";" else _FIELDS
    found = [match[1] for match in pattern.finditer(cell) if match[0]]
    if cell.endswith(mark) and not cell.endswith(f"\\{mark}"):
        found.append("")
    return [re.sub(r"\\(.)", r"\1", item.strip(), flags=re.DOTALL) for item in found] if cell.strip() else []
