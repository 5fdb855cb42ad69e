"""What is said otherwise on a terminal than on a page: how to ask for more, and what to do next."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Medium:
    """Where something is told.

    full: how to see everything. counted: how labels alone were asked for. verified: how to close a job whose cause was
    proved. learn_again: what follows when chances no longer hold. change_strength, to_accept: what can be done about
    what was learned. draws: diagrams are drawn in letters of one width, for there are no pictures.
    """

    full: str
    counted: str
    verified: str
    learn_again: str
    change_strength: str
    to_accept: str
    draws: bool


TERMINAL = Medium(
    full="--full",
    counted="--counted",
    verified="with `--verified part_tested` or `proved_by_swap`",
    learn_again="let it learn again: faultnet tune",
    change_strength=" (--strength changes that)",
    to_accept="until you say --accept, with --by and --reason",
    draws=True,
)

PAGE = Medium(
    full="see everything",
    counted="as asked",
    verified="as proved by a test of the part, or by swapping it back",
    learn_again="let it learn again",
    change_strength="",
    to_accept="until somebody accepts it, with a code and a reason",
    draws=False,
)
