"""What nobody wrote down: results that a shop usually has, and what if half of those it lacks were normal."""

from dataclasses import replace

from faultnet.case.events import Finding
from faultnet.case.normal import normal_states
from faultnet.learning.program import observed
from faultnet.model import Model
from faultnet.patterns import Pattern, Patterns

USUAL_SHARE = 0.25
"""A result that at least this share of jobs has is one that the shop usually writes down."""

LOOKED_SHARE = 0.4
"""Before anything is opened, one that at least this share has is looked at whatever else was found."""


def half_of_blanks_normal(model: Model, patterns: Patterns) -> Patterns:
    """Every job twice, for a half each: as it was written, and with the usual results it lacks seen as normal.

    Only results that the shop usually writes down are filled in; how sets were brought in is as it was.
    """
    normal, usual = normal_states(model), _with_results(model, patterns, USUAL_SHARE)
    filled = []
    for pattern, n_jobs in zip(patterns, patterns.jobs.tolist(), strict=True):
        blank = [name for name in usual if name not in _seen(pattern)]
        added = tuple(Finding(name, normal[name]) for name in blank)
        filled += [(pattern, n_jobs), (replace(pattern, items=(*added, *pattern.items)), n_jobs)]
    doubled = Patterns.of(model.id, filled, patterns.by)
    apart = tuple(replace(each, jobs=2 * each.jobs) for each in patterns.apart)
    return replace(doubled, apart=apart)


def looked_at(model: Model, patterns: Patterns) -> tuple[str, ...]:
    """The observations that nearly every job has looked at, so that a missing result says something of it.

    Those of harmless tests before anything is opened, if the shop writes them down often enough. What is measured
    later is measured because of what was found before: that it is missing says nothing more.
    """
    harmless = {name for name, test in model.revealed_by.items() if test.hazard == 0}
    return tuple(name for name in _with_results(model, patterns, LOOKED_SHARE) if name in harmless)


def _with_results(model: Model, patterns: Patterns, share: float) -> tuple[str, ...]:
    """The observations of which at least this share of jobs has a result, except those that say nothing hidden."""
    counts = dict.fromkeys(model.observations, 0.0)
    for pattern, n_jobs in zip(patterns, patterns.jobs.tolist(), strict=True):
        for name in _seen(pattern):
            counts[name] += n_jobs
    apart = dict.fromkeys(model.observations, 0.0)
    for each in patterns.apart:
        if each.node in apart:
            apart[each.node] += each.jobs
    least = share * patterns.counts_for
    return tuple(name for name, n in counts.items() if n >= least and name != model.complaint and not apart[name])


def _seen(pattern: Pattern) -> set[str]:
    return {name for item in pattern.items for name in observed(item)}
