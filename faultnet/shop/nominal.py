"""What is known of a set's voltages: from its label, from its LEDs, or from the shop's list."""

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, replace
from math import hypot, log
from typing import TYPE_CHECKING

from faultnet.case.points import NUMBER
from faultnet.errors import UsageProblem
from faultnet.jobs.codes import code_key
from faultnet.readings import Nominal, Spread

if TYPE_CHECKING:
    from faultnet.shop.voltages import Entry

LEAST_NOMINAL_VOLTS, MOST_NOMINAL_VOLTS = 5.0, 600.0

FAR_APART_SD = 4.0
"""A label and the list that differ by so many standard deviations are not about the same panel."""


@dataclass(frozen=True)
class NominalTyped:
    """What was typed about a set's voltages: volts of the label, LEDs in series, and codes for the shop's list."""

    volts: float | None = None
    leds: str = ""
    panel: str = ""
    board: str = ""


@dataclass(frozen=True)
class KnownNominal:
    """What is known of the set's voltages, None when nothing is; notes: what to know beside the answer."""

    nominal: Nominal | None
    notes: tuple[str, ...] = ()


def known_nominal(typed: NominalTyped, listed: Callable[[], Collection["Entry"]]) -> KnownNominal:
    """What is known of the set's voltages. listed: the shop's list, asked for only with a code. UsageProblem: a slip.

    A label's volts go before the list's, and those before what is calculated. The nominal belongs to the panel's
    strips, so the panel's code goes before the board's; the over-voltage limit belongs to the driver, so there the
    board's goes first. Where both are known only from one code, that one has to do.

    A code that is not in the list is no error: at the bench that is the ordinary case of a panel nobody has had yet,
    and an answer without a nominal is still a safe one. It is among the notes, with the codes that look like it.
    """
    nominal = parse_nominal(typed.volts, typed.leds)
    if not typed.panel and not typed.board:
        return KnownNominal(nominal)
    (of_panel, of_board), notes = _listed(typed, listed)
    loaded = next((n for n in (of_panel, of_board) if n is not None and n.loaded is not None), None)
    limit = next((n for n in (of_board, of_panel) if n is not None and n.unplugged is not None), None)
    if nominal is None or (nominal.source != "label" and loaded is not None):
        nominal = loaded
    elif loaded is not None:
        notes += tuple(_compared(nominal, loaded))
    if limit is not None:
        found = nominal or Nominal(None, "list")
        nominal = replace(found, unplugged=limit.unplugged, unplugged_readings=limit.unplugged_readings)
    return KnownNominal(nominal, notes)


def _listed(
    typed: NominalTyped, listed: Callable[[], Collection["Entry"]]
) -> tuple[tuple[Nominal | None, Nominal | None], tuple[str, ...]]:
    """What the list says of the panel and of the board, and notes of codes that are not in it."""
    from faultnet.shop.voltages import nominal_of

    codes = {"panel": typed.panel, "board": typed.board}
    if strange := [f"--{kind} {code}: that is no code" for kind, code in codes.items() if code and not code_key(code)]:
        raise UsageProblem(*strange)
    entries = listed()
    found = {kind: nominal_of(entries, kind, code) if code else None for kind, code in codes.items()}
    unknown = (kind for kind, code in codes.items() if code and found[kind] is None)
    notes = tuple(unknown_code(entries, kind, codes[kind]) for kind in unknown)
    return (found["panel"], found["board"]), notes


def unknown_code(entries: "Collection[Entry]", kind: str, code: str) -> str:
    """What is said of a code that is not in the list."""
    from faultnet.shop.voltages import nearest_codes

    if not entries:
        return f"{kind} {code}: the list of voltages is empty; `faultnet voltages add` puts one in"
    close = nearest_codes(entries, kind, code)
    return f"{kind} {code} is not in the list of voltages" + (f"; did you mean {' or '.join(close)}?" if close else "")


def _compared(label: Nominal, listed: Nominal) -> Iterator[str]:
    """Where a label and the list cannot both be about this panel."""
    ours, theirs = label.loaded, listed.loaded
    if ours is None or theirs is None:
        return
    if abs(log(ours.volts / theirs.volts)) > FAR_APART_SD * hypot(ours.relative_sd, theirs.relative_sd):
        yield f"the label says {_volts(ours)}, the list {_volts(theirs)} for this code; the label counts. Check both?"


def _volts(spread: Spread) -> str:
    return f"{spread.volts:.4g} V"


def parse_nominal(volts: float | None, leds: str) -> Nominal | None:
    """The nominal from a label's volts, or from LEDs in series as `18` or `12x6.2`. UsageProblem: a slip, or both."""
    if not leds:
        return None if volts is None else Nominal.label(volts)
    count, _, forward = leds.lower().replace(" ", "").partition("x")
    if volts is not None:
        raise UsageProblem("--nominal and --leds: give one of them; a printed value is the better one")
    if not count.isdecimal() or not NUMBER.fullmatch(forward or "1"):
        raise UsageProblem(f"--leds {leds}: write how many stand in series, 18, or with the volts of one, 12x6.2")
    nominal = Nominal.calculated(int(count), float(forward)) if forward else Nominal.calculated(int(count))
    if not LEAST_NOMINAL_VOLTS <= (nominal.volts or 0) <= MOST_NOMINAL_VOLTS:
        raise UsageProblem(f"--leds {leds}: that makes {nominal.volts:g} V; LED strings have 5 to 600 V")
    return nominal
