"""A model's numbers in words, and as percent with their intervals."""

from faultnet.model import Model
from faultnet.model.chances import SECOND_FAULT, SHARES, Chances
from faultnet.words import percent


def share_of(chances: Chances, number: int) -> str:
    """A chance with its 90 % interval: "46 % (29-64)"."""
    low, high = chances.interval(number)
    return f"{percent(chances.means[number])} ({100 * low:.0f}-{100 * high:.0f})"


def told_state(before: Chances, after: Chances) -> int:
    """The number of the state to tell of: the one that changed most; of a chance and its rest, the chance."""
    if after.kind not in ("row", "condition", SHARES):
        return 0
    return max(range(len(after.means)), key=lambda n: abs(after.means[n] - before.means[n]))


def words_of(model: Model, chances: Chances, number: int | None) -> str:
    """What a number is about; with the number of a state, what that one says."""
    state = "" if number is None else chances.states[number]
    kind, _, name = chances.id.partition(".")
    if chances.id == SHARES:
        return f"share of {state}" if state else "shares of the failure modes"
    if chances.id == SECOND_FAULT:
        return "two or more parts faulty"
    if kind == "condition":
        return f"{name}={state}" if state else name
    if kind == "collateral":
        cause, effect = name.split(".")[:2], name.split(".")[2:]
        return f"{'.'.join(cause)} takes {'.'.join(effect)} along"
    if kind == "row":
        node, _, row = name.rpartition(".")
        return f"{node}{'=' + state if state else ''}{_when(model, node, int(row))}"
    words = {"success": "cures", "arrives_faulty": "brings a bad part", "comeback": "does not last"}
    return f"{name} {words[kind]}"


def _when(model: Model, node: str, row: int) -> str:
    """In which case a row applies: " if driver=dead"."""
    if node not in model.observations:
        return f", row {row + 1}"
    seen = model.observations[node]
    if seen.noisy is not None:
        effect = seen.written[row]
        cause = getattr(effect, "cause", "")
        return f" if {cause}={' or '.join(getattr(effect, 'states', ()))}" if cause else " by itself"
    when = seen.table[row].when
    return f" if {', '.join(n + '=' + '/'.join(s) for n, s in when.items())}" if when else " otherwise"
