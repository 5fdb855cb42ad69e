"""Things in a line, each as near as can be to where it belongs, none too near to the next."""

from collections.abc import Sequence


def spread(wanted: Sequence[float], gaps: Sequence[float], low: float, high: float) -> list[float]:
    """Places in the same order, ``(n,)``: the least sum of squared distances to `wanted` with at least these gaps.

    gaps: ``(n - 1,)``; low and high: of the first and the last place. With the gaps taken off it is a regression that
    never falls, and pooling neighbours that do solves it (Barlow et al. 1972); bounds then only cut it off.
    ValueError: the gaps need more room.

    >>> spread([3, 3, 9], [2, 2], 0, 10)
    [2.0, 4.0, 9.0]
    """
    offsets = [0.0]
    for gap in gaps[: max(0, len(wanted) - 1)]:
        offsets.append(offsets[-1] + gap)
    if wanted and offsets[-1] > high - low + 1e-6:
        raise ValueError(f"{len(wanted)} things need {offsets[-1]:.0f}, and there is room for {high - low:.0f}")
    pools: list[tuple[float, int]] = []
    for each, offset in zip(wanted, offsets, strict=bool(wanted)):
        mean, size = each - offset, 1
        while pools and pools[-1][0] >= mean:
            before, n = pools.pop()
            mean, size = (before * n + mean * size) / (n + size), n + size
        pools.append((mean, size))
    level = [min(max(mean, low), high - offsets[-1]) for mean, size in pools for _ in range(size)]
    return [at + offset for at, offset in zip(level, offsets, strict=bool(wanted))]
