"""How long repairs last, until a set is reported back."""

from collections.abc import Iterator

from faultnet.analysis.comebacks import Comebacks, Lasting
from faultnet.analysis.values import FEW_JOBS
from faultnet.counting.returns import SEVERAL
from faultnet.jobs.closing import PART_SOURCES
from faultnet.jobs.stage import WATCH_DAYS
from faultnet.statistics.weibull import Weibull
from faultnet.telling.block import Block, Line, Table, points
from faultnet.telling.shares import hidden, in_brackets, told


def comebacks_blocks(found: Comebacks) -> Iterator[Block]:
    """Comebacks, told."""
    by = " and ".join(each.replace("_", " ") for each in found.by)
    symptom = "with any symptom" if found.any_symptom else "with the same symptom"
    yield Block(
        f"Reported back {symptom}{', by ' + by if by else ''}",
        f"{found.n_jobs:,} repaired sets",
        lines=(
            Line(
                f"First repairs, watched for {found.watched_days:g} days after the job was closed or up to the last "
                "day of the history; a set back with something else is watched no longer. Only who came back is known: "
                "others may have gone elsewhere, so at least this share of repairs fails."
            ),
        ),
    )
    header = (by, "sets", "back", f"in {found.watched_days:g} days", "")
    yield Block(table=Table(tuple(map(_row, found.groups)), header, "lrrrl"))
    if beneath := points(_beneath(found), level=0):
        yield Block(lines=beneath)


def _row(each: Lasting) -> tuple[str, str, str, str, str]:
    name = ", ".join(_WORDS.get(value, value.replace("_", " ")) for value in each.values) or "all"
    few = "few" if each.is_few else ""
    return name, f"{each.jobs:,}", str(each.n_back), told(each.back), few


_WORDS = {**{source: f"part {words}" for source, words in PART_SOURCES.items()}, SEVERAL: "parts of several kinds"}


def _beneath(found: Comebacks) -> Iterator[str]:
    if found.apart is not None:
        yield (
            f"Log-rank test of the groups of {FEW_JOBS} sets or more: chi-square {found.apart.chi2:.1f} on "
            f"{found.apart.degrees} degrees of freedom; differences at least so large come by chance alone in "
            f"{_chance(found.apart.p)}."
        )
    if found.watched_days > WATCH_DAYS:
        yield f"Shops watch repaired sets for {WATCH_DAYS} days as a rule: what came later may not have been noted."
    weibull = found.groups[0].weibull
    if weibull is not None:
        yield _shape(weibull)
    if any(each.is_few for each in found.groups):
        yield f"few: fewer than {FEW_JOBS} sets."
    yield from hidden(found.n_hidden, found.by)


def _shape(weibull: Weibull) -> str:
    """What a Weibull's shape says of when sets come back."""
    shape = weibull.shape
    says = (
        "most come back early, as faulty parts and slips do" if shape.high < 1
        else "the longer at home, the likelier to come back the next day" if shape.low > 1
        else "early and late alike, as far as the days tell"
    )  # fmt: skip
    return f"Weibull shape of all {in_brackets(shape, 2)}: {says}. Past the days watched it says nothing."


def _chance(p: float) -> str:
    return "fewer than 1 in 1,000 histories" if p < 0.001 else f"{100 * p:.2g} % of histories"
