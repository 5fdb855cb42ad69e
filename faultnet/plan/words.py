"""The words of a plan that do not hang on where it is shown."""

from collections.abc import Iterator, Sequence

from faultnet.case.words import state_words
from faultnet.model.model import Model
from faultnet.plan.result import Branch, PlanStep
from faultnet.words import percent


def outcome_words(model: Model, step: PlanStep, branch: Branch) -> str:
    """What a step showed."""
    if step.kind == "repair":
        return "the set works" if branch.state == "works" else "still not"
    return ", ".join(state_words(model.observations[leaf], state) for leaf, state in branch.shown)


def suspects_words(model: Model, step: PlanStep, most: int = 2) -> str:
    """The likeliest parts at a step: "leds 64 %, driver 14 %" """
    return ", ".join(f"{model.components[c].short or c} {percent(p)}" for c, p in step.suspects[:most])


def numbered_cautions(steps: Sequence[PlanStep]) -> Iterator[str]:
    """Each caution once, the widest first, with the numbers of the steps it is for, counted from 1."""
    numbers_of: dict[str, list[int]] = {}
    for number, step in enumerate(steps, 1):
        for caution in step.step.cautions if step.step else ():
            numbers_of.setdefault(caution.text, []).append(number)
    for text, numbers in sorted(numbers_of.items(), key=lambda item: -len(item[1])):
        yield f"{text} (step {_listed(numbers)})"


def _listed(numbers: Sequence[int]) -> str:
    """ "2 to 6, 8" """
    spans: list[list[int]] = []
    for number in numbers:
        if spans and number == spans[-1][-1] + 1:
            spans[-1].append(number)
        else:
            spans.append([number])
    return ", ".join(f"{span[0]} to {span[-1]}" if len(span) > 2 else ", ".join(map(str, span)) for span in spans)
