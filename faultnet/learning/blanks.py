"""The same history with half of its blanks taken for normal: what nobody wrote down may be what was in order."""

from dataclasses import replace

from faultnet.case.events import Finding
from faultnet.case.normal import normal_states
from faultnet.case.sequence import Together
from faultnet.model import Model
from faultnet.patterns import Pattern, Patterns

USUAL_SHARE = 0.25
"""A result that at least this share of jobs has is one that the shop usually writes down."""


def half_of_blanks_normal(model: Model, patterns: Patterns) -> Patterns:
    """Every job twice, for a half each: as it was written, and with the usual results it lacks seen as normal.

    Only results that the shop usually writes down are filled in; how sets were brought in is as it was.
    """
    normal, usual = normal_states(model), _usual(model, patterns)
    filled = []
    for pattern, n_jobs in zip(patterns, patterns.jobs.tolist(), strict=True):
        blank = [name for name in usual if name not in _seen(pattern)]
        added = tuple(Finding(name, normal[name]) for name in blank)
        filled += [(pattern, n_jobs), (replace(pattern, items=(*added, *pattern.items)), n_jobs)]
    doubled = Patterns.of(model.id, filled, patterns.by)
    apart = tuple(replace(each, jobs=2 * each.jobs) for each in patterns.apart)
    return replace(doubled, apart=apart)


def _usual(model: Model, patterns: Patterns) -> list[str]:
    counts = dict.fromkeys(model.observations, 0.0)
    for pattern, n_jobs in zip(patterns, patterns.jobs.tolist(), strict=True):
        for name in _seen(pattern):
            counts[name] += n_jobs
    apart = dict.fromkeys(model.observations, 0.0)
    for each in patterns.apart:
        if each.node in apart:
            apart[each.node] += each.jobs
    least = USUAL_SHARE * patterns.counts_for
    return [name for name, n in counts.items() if n >= least and name != model.complaint and not apart[name]]


def _seen(pattern: Pattern) -> set[str]:
    found: set[str] = set()
    for item in pattern.items:
        if isinstance(item, Together):
            found |= {reading.observation for reading in item.readings}
        elif hasattr(item, "observation"):
            found.add(item.observation)
    return found
