"""`faultnet calibration`: can a model's chances be trusted? Diagrams, scores, and what they mean."""

import json
from collections.abc import Iterator
from math import exp, isfinite
from typing import TYPE_CHECKING

from faultnet.analysis.calibration import FEWEST_JUDGED, WAYS, Calibration
from faultnet.analysis.judged import FEW, Judged, OfPart, Scores
from faultnet.cli.progress import counted
from faultnet.cli.reliability import diagram_lines, of_causes, of_repairs
from faultnet.cli.shown import Shown
from faultnet.cli.terminal import bold, table, wrapped
from faultnet.cli.workshop import workshop_of
from faultnet.model import Model
from faultnet.statistics.scores import Parts, Score
from faultnet.statistics.worsening import FALSE_ALARMS, Watch
from faultnet.telling.calibration_json import as_document
from faultnet.words import fixed, percent
from faultnet.workshop.calibrating import Wanted, calibrate

if TYPE_CHECKING:
    from matplotlib.figure import Figure

INVENTED = "This shop is invented: most of its panel codes are those of made-up jobs."

_SHORT = {
    "faultnet": "faultnet",
    "at_intake": "  at intake",
    "base_rate": "base rate",
    "naive_bayes": "naive Bayes",
    "boosted_trees": "boosted trees",
}
_OUTSIDE_STANDARD = 2.0


def show_calibration(wanted: Wanted, shown: Shown, *, db: str, shop: str) -> None:
    """Judge, write files, and print."""
    shown.check()
    workshop = workshop_of(db, shop)
    with counted("learning, then judging", "rounds") as told:
        found = calibrate(workshop, wanted, lambda _what, n: told(n))
    shown.write(found.to_frame(), lambda: _figure(found))
    if shown.as_json:
        print(json.dumps(as_document(found), indent=2))
    else:
        print("\n".join(_text(found, workshop.load_model(wanted.model))))


def _figure(found: Calibration) -> "Figure":
    from faultnet.plots.reliability import draw_reliability

    return draw_reliability(found)


def _text(found: Calibration, model: Model) -> Iterator[str]:
    if found.is_invented:
        yield INVENTED
    learned = f"numbers learned from {found.n_learned} earlier jobs" if found.n_learned else "nothing was learned"
    yield bold(f"Do the chances of {found.model} hold?")
    yield wrapped(f"judged on jobs since {found.since}; {learned}", 2)
    if found.may_know:
        yield wrapped(
            f"{found.model} may have learned from these very jobs, which makes it look better than it is: name a day "
            "after it was accepted, or leave the version out.",
            2,
        )
    yield ""
    yield bold("Does the first repair cure the set?") + f"  ({found.repairs.n_jobs} jobs in which one was tried)"
    yield from diagram_lines(found.repairs.diagram)
    yield from (wrapped(line, 2, 4) for line in of_repairs(found.repairs))
    yield from _scores(found.repairs)
    yield from _by_part("By what was tried first", found.repairs, "tried", "cured", {})
    yield from _over_time(found.repairs.watch)
    yield ""
    yield from _causes(found, model)
    yield ""
    yield bold("Left out")
    yield from _left_out("of the repairs", found.repairs)
    if found.causes is not None:
        yield from _left_out("of the causes", found.causes)


def _causes(found: Calibration, model: Model) -> Iterator[str]:
    if found.causes is None:
        yield bold("Which component is the cause?") + f"  ({found.n_verified} jobs with a verified cause)"
        yield wrapped(
            f"Not judged below {FEWEST_JUDGED}. Test the parts that come out on the bench, or swap them back, and "
            "close jobs with `--verified part_tested` or `proved_by_swap`.",
            2,
        )
        return
    yield bold("Which component is the cause?") + f"  ({found.causes.n_jobs} jobs with a verified one)"
    yield from diagram_lines(found.causes.diagram)
    yield from (wrapped(line, 2, 4) for line in of_causes(found.causes))
    yield from _scores(found.causes)
    labels = {component.id: component.label for component in model.components.values()}
    yield from _by_part("By component", found.causes, "jobs", "it was", labels)


def _scores(judged: Judged) -> Iterator[str]:
    """Ways of forecasting beside each other; what they saw coming is the mean chance, geometric, of what happened."""
    yield ""
    yield bold("Beside other forecasts") + f"  (they learned from {judged.n_before} earlier jobs)"
    rows = [("", "saw coming", "log score", "more than faultnet", "Brier score")]
    rows += [
        (
            _SHORT[each.way],
            percent(exp(-each.log.mean)) if each.log.mean < 700 else "-",
            _number(each.log.mean, 3),
            "" if each.way == "faultnet" else _with_interval(each.log_more),
            _number(each.brier.mean, 3),
        )
        for each in judged.scores
    ]
    yield from table(rows, "lrrrr")
    yield wrapped(_made_of(judged.parts), 2, 4)
    yield from (wrapped(line, 2, 4) for line in _impossible(judged.scores))
    ways = "; ".join(f"{_SHORT[each.way].strip()}: {WAYS[each.way]}" for each in judged.scores[1:])
    yield wrapped(
        "saw coming: the chance it gave to what then happened, as a geometric mean. Lower scores are better; log "
        f"scores in nats a job, in brackets 90 % of resampled jobs. {ways}.",
        2,
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


def _by_part(title: str, judged: Judged, of: str, happened: str, labels: dict[str, str]) -> Iterator[str]:
    yield ""
    few = [each for each in judged.by_part if each.is_few]
    yield bold(title) + ("" if not few else f"  (not shown: fewer than {FEW})")
    rows = [("", of, "expected", happened, "")]
    rows += [_part(each, labels.get(each.name, each.name)) for each in judged.by_part if not each.is_few]
    yield from table(rows, "lrrrl")
    if few:
        names = ", ".join(labels.get(each.name, each.name) for each in few)
        n_expected = sum(each.expected for each in few)
        yield wrapped(f"few: {sum(each.happened for each in few)} where {n_expected:.0f} were expected ({names})", 2, 4)


def _part(each: OfPart, name: str) -> tuple[str, str, str, str, str]:
    off = "" if abs(each.z) < _OUTSIDE_STANDARD else "more than said" if each.z > 0 else "fewer than said"
    return name, str(each.n), f"{each.expected:.0f}", str(each.happened), off


def _over_time(told: Watch) -> Iterator[str]:
    yield ""
    yield bold("Over time") + "  (log score a job, and what right chances would expect)"
    rows = [("", "jobs", "log score", "expected", "apart")]
    rows += [
        (each.name, str(each.n), _number(each.log_score, 3), _number(each.expected, 3), f"{_number(each.z, 1)} sd")
        for each in told.periods
    ]
    yield from table(rows, "lrrrr")
    if told.since:
        yield wrapped(
            f"ALARM: since {told.since} jobs surprise it more than before, by {told.rise:.2f} nats each; if nothing "
            f"had changed, at most 1 shop in {1 / FALSE_ALARMS:.0f} would see such a rise. Look for what is new "
            "(panels, people, habits), then let it learn again: faultnet tune.",
            2,
        )
    elif told.moment:
        yield wrapped(
            "No alarm: of late, jobs surprise it no more than before (the largest rise is one that "
            f"{percent(told.p_value)} of shops would see where nothing has changed).",
            2,
        )
    else:
        yield wrapped("Too few jobs or months to tell whether that has changed.", 2)


def _left_out(what: str, judged: Judged) -> Iterator[str]:
    if judged.left_out:
        yield f"  {what}:"
        yield from (wrapped(f"{each.jobs}: {each.why}", 4, 6) for each in judged.left_out)
    else:
        yield f"  {what}: none"


def _with_interval(score: Score) -> str:
    if not all(map(isfinite, (score.mean, score.low, score.high))):
        return _number(score.mean, 3)
    mean, low, high = (f"{value + 0.0:+.3f}" for value in (score.mean, score.low, score.high))
    return f"{mean} ({low} to {high})"


def _number(value: float, digits: int) -> str:
    return fixed(value, digits) if isfinite(value) else "infinite"
