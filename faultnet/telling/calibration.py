"""Whether a model's chances can be trusted: diagrams, scores, and what they mean."""

from collections.abc import Iterator
from math import exp, isfinite

from faultnet.analysis.calibration import FEWEST_JUDGED, WAYS, Calibration
from faultnet.analysis.judged import FEW, Judged, OfPart, Scores
from faultnet.model import Model
from faultnet.statistics.scores import Parts, Score
from faultnet.statistics.worsening import FALSE_ALARMS, Watch
from faultnet.telling.block import Block, Line, Table, points
from faultnet.telling.medium import Medium
from faultnet.telling.reliability import diagram_table, legend, of_causes, of_repairs
from faultnet.words import fixed, percent

INVENTED = "This shop is invented: most of its panel codes are those of made-up jobs."

_SHORT = {
    "faultnet": "faultnet",
    "at_intake": "  at intake",
    "base_rate": "base rate",
    "naive_bayes": "naive Bayes",
    "boosted_trees": "boosted trees",
}
_OUTSIDE_STANDARD = 2.0


def calibration_blocks(found: Calibration, model: Model, medium: Medium) -> Iterator[Block]:
    """How a model's forecasts turned out, told."""
    if found.is_invented:
        yield Block(lines=(Line(INVENTED, 0),))
    yield Block(
        f"Do the chances of {found.model} hold?",
        lines=tuple(map(Line, _about(found))),
        is_close=found.is_invented,
    )
    yield _diagram(
        "Does the first repair cure the set?",
        f"{found.repairs.n_jobs} jobs in which one was tried",
        found.repairs,
        of_repairs(found.repairs),
        medium,
    )
    yield _scores(found.repairs)
    yield _by_part("By what was tried first", found.repairs, "tried", "cured", {})
    yield _over_time(found.repairs.watch, medium)
    yield from _causes(found, model, medium)
    yield Block("Left out", lines=tuple(_left_out(found)))


def _about(found: Calibration) -> Iterator[str]:
    learned = f"numbers learned from {found.n_learned} earlier jobs" if found.n_learned else "nothing was learned"
    yield f"judged on jobs since {found.since}; {learned}"
    if found.may_know:
        yield (
            f"{found.model} may have learned from these very jobs, which makes it look better than it is: name a day "
            "after it was accepted, or leave the version out."
        )


def _diagram(heading: str, aside: str, judged: Judged, means: Iterator[str], medium: Medium) -> Block:
    table = diagram_table(judged.diagram, draws=medium.draws)
    return Block(heading, aside, table=table, beneath=(Line(legend(draws=medium.draws)), *points(means)))


def _causes(found: Calibration, model: Model, medium: Medium) -> Iterator[Block]:
    heading = "Which component is the cause?"
    if found.causes is None:
        too_few = (
            f"Not judged below {FEWEST_JUDGED}. Test the parts that come out on the bench, or swap them back, and "
            f"close jobs {medium.verified}."
        )
        yield Block(heading, f"{found.n_verified} jobs with a verified cause", lines=(Line(too_few),))
        return
    aside = f"{found.causes.n_jobs} jobs with a verified one"
    yield _diagram(heading, aside, found.causes, of_causes(found.causes), medium)
    yield _scores(found.causes)
    labels = {component.id: component.label for component in model.components.values()}
    yield _by_part("By component", found.causes, "jobs", "it was", labels)


def _scores(judged: Judged) -> Block:
    """Ways of forecasting beside each other; what they saw coming is the mean chance, geometric, of what happened."""
    rows = tuple(
        (
            _SHORT[each.way],
            percent(exp(-each.log.mean)) if each.log.mean < 700 else "-",
            _number(each.log.mean, 3),
            "" if each.way == "faultnet" else _with_interval(each.log_more),
            _number(each.brier.mean, 3),
        )
        for each in judged.scores
    )
    ways = "; ".join(f"{_SHORT[each.way].strip()}: {WAYS[each.way]}" for each in judged.scores[1:])
    means = (
        "saw coming: the chance it gave to what then happened, as a geometric mean. Lower scores are better; log "
        f"scores in nats a job, in brackets 90 % of resampled jobs. {ways}."
    )
    return Block(
        "Beside other forecasts",
        f"they learned from {judged.n_before} earlier jobs",
        table=Table(rows, ("", "saw coming", "log score", "more than faultnet", "Brier score"), "lrrrr"),
        beneath=(*points([_made_of(judged.parts), *_impossible(judged.scores)]), Line(means)),
    )


def _made_of(parts: Parts) -> str:
    """Murphy's parts of a Brier score in words."""
    within = parts.spread_within - parts.agreement_within
    return (
        f"faultnet's Brier score {parts.score:.3f} is {parts.uncertainty:.3f} (always saying how often it happens), "
        f"less {parts.resolution:.3f} for telling jobs apart (resolution), {parts.reliability:+.3f} for what was said "
        f"wrong (reliability), {within:+.3f} within bins (Murphy 1973)."
    )


def _impossible(scores: tuple[Scores, ...]) -> Iterator[str]:
    for each in scores:
        if each.n_impossible:
            yield (
                f"{_SHORT[each.way].strip()}: {each.n_impossible} jobs went as it had called impossible, so its log "
                "score is infinite"
            )


def _by_part(title: str, judged: Judged, of: str, happened: str, labels: dict[str, str]) -> Block:
    few = [each for each in judged.by_part if each.is_few]
    rows = tuple(_part(each, labels.get(each.name, each.name)) for each in judged.by_part if not each.is_few)
    beneath = ""
    if few:
        names = ", ".join(labels.get(each.name, each.name) for each in few)
        n_expected = sum(each.expected for each in few)
        beneath = f"few: {sum(each.happened for each in few)} where {n_expected:.0f} were expected ({names})"
    return Block(
        title,
        f"not shown: fewer than {FEW}" if few else "",
        table=Table(rows, ("", of, "expected", happened, ""), "lrrrl"),
        beneath=points([beneath] if beneath else []),
    )


def _part(each: OfPart, name: str) -> tuple[str, str, str, str, str]:
    off = "" if abs(each.z) < _OUTSIDE_STANDARD else "more than said" if each.z > 0 else "fewer than said"
    return name, str(each.n), f"{each.expected:.0f}", str(each.happened), off


def _over_time(told: Watch, medium: Medium) -> Block:
    rows = tuple(
        (each.name, str(each.n), _number(each.log_score, 3), _number(each.expected, 3), f"{_number(each.z, 1)} sd")
        for each in told.periods
    )
    return Block(
        "Over time",
        "log score a job, and what right chances would expect",
        table=Table(rows, ("", "jobs", "log score", "expected", "apart"), "lrrrr"),
        beneath=(Line(_alarm(told, medium)),),
    )


def _alarm(told: Watch, medium: Medium) -> str:
    if told.since:
        return (
            f"ALARM: since {told.since} jobs surprise it more than before, by {told.rise:.2f} nats each; if nothing "
            f"had changed, at most 1 shop in {1 / FALSE_ALARMS:.0f} would see such a rise. Look for what is new "
            f"(panels, people, habits), then {medium.learn_again}."
        )
    if told.moment:
        return (
            "No alarm: of late, jobs surprise it no more than before (the largest rise is one that "
            f"{percent(told.p_value)} of shops would see where nothing has changed)."
        )
    return "Too few jobs or months to tell whether that has changed."


def _left_out(found: Calibration) -> Iterator[Line]:
    for what, judged in (("of the repairs", found.repairs), ("of the causes", found.causes)):
        if judged is not None and judged.left_out:
            yield Line(f"{what}:")
            yield from points((f"{each.jobs}: {each.why}" for each in judged.left_out), level=2)
        elif judged is not None:
            yield Line(f"{what}: none")


def _with_interval(score: Score) -> str:
    if not all(map(isfinite, (score.mean, score.low, score.high))):
        return _number(score.mean, 3)
    mean, low, high = (f"{value + 0.0:+.3f}" for value in (score.mean, score.low, score.high))
    return f"{mean} ({low} to {high})"


def _number(value: float, digits: int) -> str:
    return fixed(value, digits) if isfinite(value) else "infinite"
