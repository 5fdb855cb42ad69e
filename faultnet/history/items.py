"""Several items in one cell, and back: `a; b` with a backslash before what would part them."""

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence

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


def in_tested_order(tests: Sequence[str], n_items: Mapping[str, int]) -> Iterator[tuple[str, int]]:
    """Every item of some cells, as the column and its place there, in the order in which the columns are named.

    A column that is named once for each of its items gives one at a time, else all where it is named first; those that
    are not named come last.

    >>> list(in_tested_order(["a", "b", "a"], {"a": 2, "b": 1, "c": 1}))
    [('a', 0), ('b', 0), ('a', 1), ('c', 0)]
    """
    times, given = Counter(tests), dict.fromkeys(n_items, 0)
    for name in (*tests, *n_items):
        if name in n_items and given[name] < n_items[name]:
            last = given[name] + 1 if times[name] == n_items[name] else n_items[name]
            yield from ((name, nth) for nth in range(given[name], last))
            given[name] = last
