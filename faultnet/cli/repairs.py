"""As text: the likeliest repairs, briefly or in full, and what holds each back."""

from collections.abc import Iterator

from faultnet.cli.terminal import bold, wrapped_table
from faultnet.model.work import choices_in_words
from faultnet.ranking import Ranking
from faultnet.repairs import RankedRepair
from faultnet.words import percent

SHOWN_REPAIRS = 3


def repairs_text(ranking: Ranking, *, full: bool) -> Iterator[str]:
    """The likeliest cures; in full all of them, with what each would cure and cost."""
    if not ranking.repairs:
        return
    yield bold("Repairs") + "  (advised when sure enough of the part" + ("; cost: doing it once)" if full else ")")
    extra = ("cures", "cost") if full else ()
    rows = [("", "fault here", "gate", *extra, "held by")]
    for repair in ranking.repairs if full else ranking.repairs[:SHOWN_REPAIRS]:
        costs = (percent(repair.cures), f"{repair.cost:.0f}") if full else ()
        sure = (percent(repair.named_right), percent(repair.gate))
        rows.append((repair.repair, *sure, *costs, _held_by(ranking, repair)))
    yield from wrapped_table(rows, "lrr" + "r" * len(extra) + "l")
    yield ""


def _held_by(ranking: Ranking, repair: RankedRepair) -> str:
    """Everything that holds a repair back now, or that it is the one advised."""
    if ranking.advice.id == repair.repair:
        return "nothing: advised now"
    held = [] if ranking.settings.may_do(repair.step.hazard) else ["training"]
    held += ["gate"] if repair.named_right < repair.gate else []
    held += [choices_in_words(repair.waits_for)] if repair.waits_for else []
    return "; ".join(held) or "nothing"
