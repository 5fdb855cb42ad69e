"""`faultnet plan`: the whole plan as text, as JSON and as a sheet."""

import json
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from time import monotonic

from faultnet.cli.as_text import model_line, understood
from faultnet.cli.picture import check_picture, write_picture
from faultnet.cli.plan_json import plan_json
from faultnet.cli.plan_words import (
    COMES_HERE_FROM,
    cautions_of,
    compared,
    costs,
    heading,
    left_aside,
    stop_words,
)
from faultnet.cli.terminal import bold, columns, note, table, wrapped
from faultnet.errors import UsageProblem
from faultnet.model.words import disclaimer
from faultnet.plan import Branch, Plan, PlanStep, make_plan
from faultnet.plan.words import outcome_words, suspects_words
from faultnet.words import percent
from faultnet.workshop.understanding import Asked, Understood, understand

SHEETS = (".html", ".pdf")

COMPARING = 0.5
"""The plan without constraints is looked for as long again as this share of the time for the plan."""


def show_plan(asked: Asked, *, tests: str, seconds: float, sheet: str, picture: str, full: bool, as_json: bool) -> None:
    """Print the plan, and write a sheet and a picture where they are wanted."""
    check_picture(picture)
    if sheet and Path(sheet).suffix.lower() not in SHEETS:
        raise UsageProblem(f"--sheet {sheet}: write a name that ends in {' or '.join(SHEETS)}")
    told = understand(asked)
    for each in told.notes:
        note(each)
    if sys.stderr.isatty():
        print(f"looking for {seconds:g} s; the first time on a machine, half a minute of compiling", file=sys.stderr)
    plan = make_plan(
        told.model,
        told.case,
        tests=[name.strip() for name in tests.split(",") if name.strip()] or None,
        settings=told.settings,
        bench=told.bench,
        keep_going=for_seconds(seconds),
        keep_comparing=for_seconds(seconds * COMPARING),
    )
    if sheet:
        from faultnet.cli.plan_sheet import write_sheet

        write_sheet(Path(sheet), told, plan)
        print(f"sheet written: {sheet}", file=sys.stderr)
    if picture:
        from faultnet.pictures.plan import plan_picture

        write_picture(picture, plan_picture(told.model, plan, full=full))
    if as_json:
        print(json.dumps(plan_json(told, plan), indent=2, allow_nan=False))
    else:
        print("\n".join(_lines(told, plan, full=full)))


def for_seconds(seconds: float) -> Callable[[], bool]:
    """Whether there is time left, of so many seconds from the first time it is asked."""
    ends: list[float] = []

    def goes_on() -> bool:
        ends.append(monotonic() + seconds)
        return monotonic() < ends[0]

    return goes_on


def _lines(told: Understood, plan: Plan, *, full: bool) -> Iterator[str]:
    model = told.model
    yield bold(heading(model))
    yield model_line(model)
    yield ""
    yield from understood(model, told.case, range(1, len(told.case.events) + 1))
    yield ""
    yield bold("What it costs")
    yield wrapped(costs(plan), 2, 4)
    yield from table(compared(plan), "lrl")
    for each in left_aside(plan):
        yield wrapped(each, 2, 4)
    yield ""
    yield bold("The plan") + "  (% of sets like this; to the right: likeliest parts)"
    shown = COMES_HERE_FROM if not full else 0.0
    yield from _tree(told, plan.first, "", shown)
    yield ""
    if cautions := cautions_of(plan, shown):
        yield bold("Before these steps")
        for text, where in cautions:
            yield wrapped(f"! {text} ({where})", 2, 4)
        yield ""
    yield wrapped(disclaimer(model), 0)


def _tree(told: Understood, step: PlanStep, prefix: str, shown: float) -> Iterator[str]:
    """A step and what follows from each thing it may show."""
    yield from _step_lines(told, step, prefix)
    common = [b for b in step.branches if b.chance * step.reached >= shown]
    rare = [b for b in step.branches if b not in common and b.chance > 0]
    for number, branch in enumerate(common):
        is_last = number == len(common) - 1 and not rare
        yield from _branch_lines(told, step, branch, prefix, is_last=is_last, shown=shown)
    if rare:
        chance = sum(b.chance * step.reached for b in rare)
        states = ", ".join(outcome_words(told.model, step, branch) for branch in rare)
        yield _cut(f"{prefix}└ rarer, {percent(chance)} in all: {states}")


def _branch_lines(
    told: Understood, step: PlanStep, branch: Branch, prefix: str, *, is_last: bool, shown: float
) -> Iterator[str]:
    words = f"{outcome_words(told.model, step, branch)}, {percent(branch.chance * step.reached)}"
    yield _cut(f"{prefix}{'└' if is_last else '├'} {words}{'' if branch.then else ': done'}")
    if branch.then is not None:
        yield from _tree(told, branch.then, prefix + ("  " if is_last else "│ "), shown)


def _step_lines(told: Understood, step: PlanStep, prefix: str) -> Iterator[str]:
    room = columns() - len(prefix)
    suspects = suspects_words(told.model, step)
    if step.kind == "stop":
        yield _cut(f"{prefix}= {stop_words(told, step)}   {suspects}")
        return
    mark = "*" if step.kind == "repair" else ">"
    hazard = f"  hazard {step.step.hazard}" if step.step and step.step.hazard else ""
    text = f"{mark} {step.label} [{step.id}]{hazard}"
    if len(text) + len(suspects) + 3 <= room:
        yield f"{prefix}{text}   {suspects}".rstrip()
    else:
        yield _cut(f"{prefix}{mark} [{step.id}]{hazard}   {suspects}")


def _cut(line: str) -> str:
    """A line of the tree within the width."""
    return line if len(line) <= columns() else line[: columns() - 3].rstrip() + "..."
