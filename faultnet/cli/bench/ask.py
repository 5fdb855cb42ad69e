"""Questions of the loop that take more than one key."""

from collections.abc import Sequence

from faultnet.cli.bench.keys import ask_key, ask_line
from faultnet.cli.bench.screen import Screen
from faultnet.cli.terminal import bold, wrapped, wrapped_table
from faultnet.errors import UsageProblem
from faultnet.jobs import Part
from faultnet.jobs.closing import PART_SOURCES
from faultnet.model.nodes import Observation
from faultnet.words import percent
from faultnet.workshop.repairing import replaces_part
from faultnet.workshop.sums import parse_sum

MOST_POINTS = 16
_ONE_KEY = 9


def choose(question: str, rows: Sequence[tuple[str, str]]) -> int | None:
    """Which of these was chosen, from 0; None where none was. One key where there are few, else a number and Enter."""
    print(bold(question))
    lines = [(str(n), label + (f" ({detail})" if detail else "")) for n, (label, detail) in enumerate(rows, start=1)]
    print("\n".join(wrapped_table(lines, "rl")))
    prompt = f"1-{len(rows)}, Enter for none: "
    typed = ask_key(prompt) if len(rows) <= _ONE_KEY else ask_line(prompt)
    if not typed:
        return None
    if not typed.isdecimal() or not 1 <= int(typed) <= len(rows):
        raise UsageProblem(f"{typed}: a number from 1 to {len(rows)}")
    return int(typed) - 1


def ask_volts(seen: Observation) -> str:
    """A reading, asked point by point, as it is typed elsewhere; here a comma is a decimal sign.

    UsageProblem: nothing was entered.
    """
    print(
        wrapped(
            "Volts at each test point; 0,2 is 0.2 here. OL over range, ? not reached; Enter ends. After the last "
            "one, how it was read, where not as usual: settled, max, steady, hot, meter:NAME.",
            2,
        )
    )
    points: list[str] = []
    while len(points) < MOST_POINTS:
        text = ask_line(f"  point {len(points) + 1}: ").replace(",", ".")
        if not text:
            break
        points.append(text)
    if not points:
        raise UsageProblem("nothing was entered")
    told = "+".join(ask_line("  how, Enter for as usual: ").replace(",", " ").replace("+", " ").split())
    return f"{seen.id}={','.join(points)}" + (f"@{told}" if told else "")


def ask_repair(screen: Screen) -> tuple[str, tuple[Part, ...]] | None:
    """Which repair was made, with which part, and whether the set works: as typed elsewhere. None: none was."""
    repairs = screen.ranking.repairs
    rows = [
        (
            r.label,
            f"{percent(r.cures)} that it cures" + (f"; held: {r.held_because}" if r.held_because else ""),
        )
        for r in repairs
    ]
    number = choose("Which repair was made?", rows)
    if number is None:
        return None
    made = repairs[number].repair
    parts = (_ask_part(screen, made),) if replaces_part(screen.model, made) else ()
    works = ask_key("does the set work now? [y/n] ").lower()
    if works not in ("y", "n"):
        raise UsageProblem("say y or n; nothing was written")
    return f"{made}={'works' if works == 'y' else 'not'}", parts


def _ask_part(screen: Screen, repair: str) -> Part:
    old = ask_line("code read on the old part: ")
    new = ask_line("code of the new part: ")
    source = choose("Where is it from?", [(words, "") for words in PART_SOURCES.values()])
    leds = strips = None
    if "strips" in screen.model.repairs[repair].fixes:
        counted = ask_line("strips and LEDs of one, as 6x9, or nothing: ").lower().split("x")
        if len(counted) == 2 and all(map(str.isdecimal, counted)):
            strips, leds = map(int, counted)
    paid = ask_line("what it cost, or nothing: ").replace(",", ".")
    price = parse_sum("cost", paid) if paid else None
    return Part(0, repair, old, new, [*PART_SOURCES][source or 0], leds, strips, price)
