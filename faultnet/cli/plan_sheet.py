"""A plan as one printable page, HTML or PDF, to pin to the wall: numbered steps, what each may show, where to go on."""

from dataclasses import dataclass
from pathlib import Path

from faultnet.case.words import describe_event
from faultnet.cli.plan_words import costs, heading, stop_words
from faultnet.model.words import disclaimer
from faultnet.plan import Plan, PlanStep
from faultnet.plan.words import numbered_cautions, outcome_words, suspects_words
from faultnet.telling.block import Block, Table, points
from faultnet.telling.paper import Paper, write_paper
from faultnet.words import percent
from faultnet.workshop.understanding import Understood

MOST_ROWS = 18
"""Steps that fit a page; rarer ones are left to `faultnet next`."""


@dataclass(frozen=True)
class Row:
    """A numbered step of the sheet. does: what to do; hazard and minutes; shows: each outcome and where it leads."""

    number: int
    does: str
    notes: str
    shows: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Sheet:
    """All that stands on the page."""

    title: str
    facts: tuple[str, ...]
    rows: tuple[Row, ...]
    cautions: tuple[str, ...]
    foot: str


def write_sheet(file: Path, told: Understood, plan: Plan) -> None:
    """Write the page. UsageProblem: PDF without the package for it, or the file cannot be written."""
    write_paper(file, paper(make_sheet(told, plan)), "--sheet")


def make_sheet(told: Understood, plan: Plan) -> Sheet:
    """The page of a plan: the likeliest steps, as many as fit."""
    steps = _likeliest(plan.first)
    numbers = {id(step): n for n, step in enumerate(steps, 1)}
    model, case = told.model, told.case
    facts = [f"{n}. {describe_event(model, event)}" for n, event in enumerate(case.events, 1)]
    if case.inches is not None:
        facts.append(f"{case.inches:g} inch")
    low = "" if plan.cost.is_exact else f"; no plan costs less than {plan.cost.lower:.0f}"
    facts.append(f"expected cost {plan.cost.upper:.0f}{low}; giving up costs {plan.giving_up:.0f} ({costs(plan)})")
    return Sheet(
        title=heading(model),
        facts=tuple(facts),
        rows=tuple(_row(told, step, numbers) for step in steps),
        cautions=tuple(numbered_cautions(steps)),
        foot=f"{model.version}. {disclaimer(model)}",
    )


def _likeliest(first: PlanStep) -> list[PlanStep]:
    """Steps in the order of the tree, the likeliest that fit the page; ends are written where they are reached."""
    steps = [step for step in first.steps() if step.kind != "stop" or step is first]
    kept = {id(step) for step in sorted(steps, key=lambda step: -step.reached)[:MOST_ROWS]}
    return [step for step in steps if id(step) in kept]


def _row(told: Understood, step: PlanStep, numbers: dict[int, int]) -> Row:
    if step.step is None:
        return Row(numbers[id(step)], stop_words(told, step), "", ())
    setup = f"first {', '.join(step.step.setup)}; " if step.step.setup else ""
    minutes = step.step.setup_minutes + step.step.minutes
    harm = f"; may ruin the set: {percent(step.harm)}" if step.harm else ""
    advice = told.model.repairs[step.id].advice if step.kind == "repair" else told.model.tests[step.id].how
    notes = f"{setup}{minutes:.0f} min, hazard {step.step.hazard}{harm}. {advice}"
    shows = tuple(
        (f"{outcome_words(told.model, step, branch)} ({percent(branch.chance)})", _leads(told, branch.then, numbers))
        for branch in step.branches
        if branch.chance > 0
    )
    return Row(numbers[id(step)], f"{step.label} ({suspects_words(told.model, step)})", notes, shows)


def _leads(told: Understood, then: PlanStep | None, numbers: dict[int, int]) -> str:
    if then is None:
        return "run it on test, close it"
    if then.kind == "stop":
        return stop_words(told, then)
    return f"go to {numbers[id(then)]}" if id(then) in numbers else "ask faultnet next"


def paper(sheet: Sheet) -> Paper:
    """The sheet as it is printed."""
    rows = tuple(
        (str(row.number), f"{row.does}\n{row.notes}", "\n".join(f"{shown}: {leads}" for shown, leads in row.shows))
        for row in sheet.rows
    )
    cautions = "Before a step, the cautions that name its number"
    return Paper(
        sheet.title,
        (
            Block(lines=points(sheet.facts)),
            Block(cautions, lines=points(sheet.cautions), is_small=True),
            Block("Steps", table=Table(rows, ("", "Step", "If you see, go on"), widths=(5, 53, 42))),
        ),
        sheet.foot,
    )
