"""`faultnet job repair`: a repair with the parts that went in."""

import json
import sys
from collections.abc import Sequence
from dataclasses import dataclass

from faultnet.case.entry import nearest
from faultnet.cli.job.add import look_or_note
from faultnet.cli.job.told import entry_line
from faultnet.cli.terminal import wrapped
from faultnet.cli.workshop import workshop_of
from faultnet.errors import UsageProblem
from faultnet.jobs import Part
from faultnet.jobs.closing import PART_SOURCES
from faultnet.telling.job import part_words
from faultnet.telling.job_json import job_json
from faultnet.workshop.repairing import Doubtful, repair
from faultnet.workshop.sums import parse_sum
from faultnet.workshop.workshop import model_of, read_job


@dataclass(frozen=True)
class RepairTyped:
    """What was typed after `job repair JOB`; codes and sums of one repair, or as REPAIR:TEXT of several."""

    made: str
    old: Sequence[str]
    new: Sequence[str]
    source: str
    paid: Sequence[str]
    leds: int | None
    strips: int | None
    note: str


def repair_in(number: str, typed: RepairTyped, *, sure: bool, db: str, shop: str, as_json: bool) -> None:
    """Write the repair down; at a terminal, what is doubtful is asked about, elsewhere it needs --sure."""
    workshop = workshop_of(db, shop)
    parts = parts_typed(typed, decimal_comma=workshop.shop.settings.decimal_comma)
    try:
        written = repair(workshop, number, typed.made, parts, sure=sure, note=typed.note)
    except Doubtful as doubtful:
        if not sys.stdin.isatty() or as_json:
            raise
        for doubt in doubtful.doubts:
            print(wrapped(f"? {doubt}", 0, 2), file=sys.stderr)
        print("Write it down as it is? [y/n] ", end="", file=sys.stderr, flush=True)
        if sys.stdin.readline().strip().lower() not in ("y", "yes"):
            raise UsageProblem("nothing was written") from None
        written = repair(workshop, number, typed.made, parts, sure=True, note=typed.note)
    job, _ = read_job(workshop, number)
    if as_json:
        print(json.dumps(job_json(job), indent=2))
        return
    print(f"Job {number}: written down")
    model = model_of(workshop, job)
    print("\n".join(entry_line(entry, model) for entry in written), flush=True)
    new = [part for part in job.parts if part.seq == written[0].seq]
    print("".join(wrapped(part_words(part, workshop.shop.settings.currency), 5) + "\n" for part in new), end="")
    look_or_note(workshop, number, "job repair")


def parts_typed(typed: RepairTyped, *, decimal_comma: bool) -> tuple[Part, ...]:
    """The parts that were typed, one for each repair. UsageProblem lists all slips."""
    problems: list[str] = []
    made = [name.strip().lower().replace("-", "_") for name in typed.made.partition("=")[0].split("+")]
    old, new, paid = (
        _by_repair(option, texts, made, problems)
        for option, texts in (("--old", typed.old), ("--new", typed.new), ("--paid", typed.paid))
    )
    source = typed.source.strip().lower().replace("-", "_")
    if source not in PART_SOURCES:
        problems.append(f"--source {typed.source}: one of {', '.join(PART_SOURCES)}{nearest(source, PART_SOURCES)}")
    if (typed.leds is None) != (typed.strips is None):
        problems.append("--leds-per-strip and --strips go together")
    prices: dict[str, float] = {}
    for name, text in paid.items():
        try:
            prices[name] = parse_sum("--paid", text, decimal_comma=decimal_comma)
        except UsageProblem as error:
            problems.extend(error.problems)
    if problems:
        raise UsageProblem(*problems)
    named = dict.fromkeys([*old, *new, *prices, *(made[:1] if typed.strips else [])])
    return tuple(
        Part(0, n, old.get(n, ""), new.get(n, ""), source, typed.leds, typed.strips, prices.get(n)) for n in named
    )


def _by_repair(option: str, texts: Sequence[str], made: Sequence[str], problems: list[str]) -> dict[str, str]:
    found: dict[str, str] = {}
    for text in texts:
        name, colon, rest = text.partition(":")
        if not colon or name not in made:
            name, rest = made[0], text
            if len(made) > 1:
                problems.append(f"{option} {text}: of several repairs, write {option} {made[0]}:{text}")
        if not rest.strip().isprintable() or len(rest) > 60:
            problems.append(f"{option} {rest[:60]!r}: what is printed there, at most 60 characters")
        if name in found:
            problems.append(f"{option} stands twice for {name}")
        found[name] = rest.strip()
    return found
