"""What to ask before a part goes in: is it the same as the old one, and do strips fit the nominal voltage?"""

from collections.abc import Iterator

from faultnet.jobs.closing import Part
from faultnet.jobs.codes import code_key

VOLTS_OF_LED = ((3.0, 3.3), (6.0, 6.6))
"""Forward voltage of one white LED of one die and of two (common practice, no source)."""

NOMINAL_SLACK = 0.05
"""How far a printed nominal may be off what its LEDs add to, beyond the spread of one LED (reasoned)."""


def code_doubts(part: Part) -> Iterator[str]:
    """What to look at again before this part is fitted: no codes read, or two that differ."""
    if not part.old_code:
        yield f"{part.repair}: read the code on the old part first (by the panel's label or the board's number)"
    if not part.new_code:
        yield f"{part.repair}: no code of the new part was given"
    if part.old_code and part.new_code and code_key(part.old_code) != code_key(part.new_code):
        yield f"{part.repair}: the old part says {part.old_code}, the new one {part.new_code}: is it the same part?"


def strip_doubts(part: Part, nominal_volts: float | None) -> Iterator[str]:
    """Whether so many LEDs can make the nominal voltage: all strips in series, or in equal strings side by side."""
    if part.leds is None or part.strips is None or nominal_volts is None:
        return
    total = part.leds * part.strips
    strings = [n for n in range(1, part.strips + 1) if part.strips % n == 0]
    for low, high in VOLTS_OF_LED:
        if any(
            total / n * low * (1 - NOMINAL_SLACK) <= nominal_volts <= total / n * high * (1 + NOMINAL_SLACK)
            for n in strings
        ):
            return
    least, most = total * VOLTS_OF_LED[0][0], total * VOLTS_OF_LED[1][1]
    yield (
        f"{part.repair}: {part.strips} strips of {part.leds} LEDs in series make {least:.0f} to {most:.0f} V, and no "
        f"equal strings of them make the nominal {nominal_volts:g} V: are these the right strips?"
    )
