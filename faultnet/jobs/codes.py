"""Codes as they are printed on panels, boards and strips."""

import re

_APART = re.compile(r"[\s\-\u2010-\u2015\u2212]+")


def code_key(code: str) -> str:
    """A code without what people write differently: case, spaces and dashes.

    >>> code_key("PX-1040 a") == code_key("px1040A")
    True
    """
    return _APART.sub("", code).casefold()
