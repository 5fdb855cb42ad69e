"""Matrix products by the thread that asks for them.

Libraries spread a product of some size over all processors. On a busy machine the parts then wait for each other, many
times as long as one thread takes for all of them, and a server's threads get into each other's way.
"""

import numpy as np

from faultnet.cpt import Floats

_MOST_ENTRIES = 2**13
"""Of one block of the matrix: OpenBLAS takes threads for a single row from 9216 on (its sources, version 0.3)."""

_MOST_MULTIPLICATIONS = 2**18
"""Of one block of the product: for more it takes threads."""


def product(rows: Floats, matrix: Floats) -> Floats:
    """``rows @ matrix`` in blocks that are not spread over threads: ``(n, k), (k, m) -> (n, m)``."""
    n, (k, m) = len(rows), matrix.shape
    result = np.empty((n, m))
    wide = max(1, _MOST_ENTRIES // max(k, 1))
    tall = max(1, _MOST_MULTIPLICATIONS // max(1, k * min(m, wide)))
    for left in range(0, m, wide):
        columns = matrix[:, left : left + wide]
        for top in range(0, n, tall):
            result[top : top + tall, left : left + wide] = rows[top : top + tall] @ columns
    return result
