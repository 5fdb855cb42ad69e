"""What labels say: of which jobs a repair cured the set, and which parts it was made on."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from faultnet.analysis.targets import COMPONENT, MODE, NOTHING, SEVERAL, Target
from faultnet.analysis.values import FEWEST_OF_SOMEBODY, Values, in_order, shown
from faultnet.counting.tally import Tallied
from faultnet.model import Model


@dataclass(frozen=True, eq=False)
class Labels:
    """Jobs and their labels. jobs: of every group, and of all as (); cured: of these with a repair after which the set
    worked; labelled: by group and name, of parts that this repair was made on, or of values of the column asked for.
    """

    model: Model
    of: str
    by: tuple[str, ...]
    jobs: Mapping[Values, int]
    cured: Mapping[Values, int]
    labelled: Mapping[tuple[Values, str], int]

    @property
    def is_of_faults(self) -> bool:
        """Whether parts or failure modes are asked for, which labels do not say surely."""
        return self.of in (COMPONENT, MODE)

    @property
    def names(self) -> list[str]:
        """Everything that there is a label of."""
        return list(dict.fromkeys(name for _, name in self.labelled))

    @cached_property
    def hidden(self) -> frozenset[Values]:
        """People who did too few jobs to be told of."""
        few = (values for values, n in self.jobs.items() if values and n < FEWEST_OF_SOMEBODY)
        return frozenset(few if "technician" in self.by else ())

    @cached_property
    def groups(self) -> list[Values]:
        """All jobs, as (), and the groups that are told of, in order."""
        there = {values: n for values, n in self.jobs.items() if values and values not in self.hidden}
        return [(), *in_order(there, self.by)]

    def count(self, values: Values, target: Target) -> tuple[int | None, int]:
        """Labels that say so, and how many there are; None where labels do not tell: of modes, if there are several."""
        name, mode = target
        n_labelled = self.labelled.get((values, name), 0)
        if not self.is_of_faults:
            return n_labelled, self.jobs[values]
        tells = name not in (NOTHING, SEVERAL) and not (mode and len(self.model.components[name].modes) > 1)
        return (n_labelled if tells else None), self.cured[values]


def labels_of(counts: Sequence[Tallied], model: Model, of: str, by: tuple[str, ...]) -> Labels:
    """Labels counted by columns. counts: jobs tallied by these, and by the column asked for last."""
    jobs: dict[Values, int] = {}
    cured: dict[Values, int] = {}
    labelled: dict[tuple[Values, str], int] = {}
    for each in counts:
        group = shown(each.values[: len(by)], by)
        for values in dict.fromkeys([(), group]):
            jobs[values] = jobs.get(values, 0) + each.jobs
            cured[values] = cured.get(values, 0) + (each.jobs if each.cure else 0)
            for name in _names(each, model, of):
                labelled[values, name] = labelled.get((values, name), 0) + each.jobs
    return Labels(model, of, by, jobs, cured, labelled)


def _names(each: Tallied, model: Model, of: str) -> Iterator[str]:
    if of in (COMPONENT, MODE):
        yield from dict.fromkeys(component for repair in each.cure for component in model.repairs[repair].fixes)
    else:
        yield from shown(each.values[-1:], (of,))
