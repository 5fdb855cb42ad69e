"""How far a job is: its stages, and which move is possible from each."""

from collections.abc import Mapping
from datetime import date, timedelta

from faultnet.errors import UsageProblem

STAGES: Mapping[str, str] = {
    "open": "open",
    "tested": "tested",
    "priced": "price named",
    "agreed": "agreed",
    "declined": "declined",
    "waiting": "waiting for part",
    "repaired": "repaired",
    "on_test": "running on test",
    "closed": "closed",
    "watched": "watched for 90 days",
    "done": "done",
}
"""Every stage with its words, in the usual order."""

ENDED = ("closed", "watched", "done")

BEFORE_THE_END = tuple(stage for stage in STAGES if stage not in ENDED)
"""Stages of jobs that are not over."""

WATCH_DAYS = 90
"""How long a repaired set is watched after it went home: comebacks are counted within 90 days (common practice)."""

_AT_WORK = ("open", "tested", "priced", "agreed", "waiting", "repaired", "on_test")


def _stay(*stages: str) -> dict[str, str]:
    return {stage: stage for stage in stages}


def _to(stage: str, *before: str) -> dict[str, str]:
    return dict.fromkeys(before, stage)


MOVES: Mapping[str, Mapping[str, str]] = {
    "test": {**_stay(*_AT_WORK), "open": "tested"},
    "price": _to("priced", "open", "tested", "priced", "agreed", "declined"),
    "agree": _to("agreed", "priced"),
    "decline": _to("declined", "priced", "agreed", "waiting"),
    "wait": _to("waiting", "tested", "agreed"),
    "part_here": _to("agreed", "waiting"),
    "repair_works": _to("repaired", *_AT_WORK),
    "repair_fails": {**_stay(*_AT_WORK), "open": "tested", "repaired": "tested", "on_test": "tested"},
    "run": _to("on_test", "repaired"),
    "close_fixed": _to("closed", "repaired", "on_test"),
    "close_no_fault_found": _to("closed", "open", "tested", "priced", "agreed", "repaired", "on_test"),
    "close_not_worth_repairing": _to("closed", "open", "tested", "priced", "agreed", "declined", "waiting"),
    "close_no_part": _to("closed", "tested", "priced", "agreed", "waiting"),
    "close_declined": _to("closed", "open", "tested", "priced", "declined"),
    "close_harmed": _to("closed", *_AT_WORK[1:]),
    "reopen": _to("tested", "closed", "declined"),
    "watch": _to("watched", "closed"),
    "send_back": _to("done", "closed"),
    "comeback": _to("done", "closed", "watched", "done"),
}
"""Every move: from which stages it is possible, and where each leads."""

HOW: Mapping[str, str] = {
    "test": "job add JOB EVENT",
    "price": "job price JOB --name SUM",
    "agree": "job price JOB --agreed",
    "decline": "job price JOB --declined",
    "wait": "job move JOB waiting",
    "part_here": "job move JOB agreed",
    "repair_works": "job repair JOB REPAIR=works",
    "repair_fails": "job repair JOB REPAIR=not",
    "run": "job move JOB on_test",
    "close_fixed": "job close JOB fixed",
    "close_no_fault_found": "job close JOB no_fault_found",
    "close_not_worth_repairing": "job close JOB not_worth_repairing",
    "close_no_part": "job close JOB no_part",
    "close_declined": "job close JOB declined",
    "close_harmed": "job close JOB harmed",
    "reopen": "job move JOB tested",
    "watch": "job move JOB watched (it went home repaired)",
    "send_back": "job move JOB done (it went home as it was)",
    "comeback": "job comeback JOB",
}
"""What to type for each move, after `faultnet`."""


class NotPossible(UsageProblem):
    """A move that is not possible from the stage that a job is in."""


def moved(stage: str, move: str) -> str:
    """The stage after a move. NotPossible: from there it is not; says what is."""
    if stage in MOVES[move]:
        return MOVES[move][stage]
    possible = "; ".join(what_is_possible(stage))
    raise NotPossible(f"{HOW[move]}: not possible while the job is {STAGES[stage]}. Possible now: {possible}")


def possible_moves(stage: str) -> tuple[str, ...]:
    """The moves that are possible from a stage."""
    return tuple(move for move, before in MOVES.items() if stage in before)


def what_is_possible(stage: str) -> tuple[str, ...]:
    """What to type for each move that is possible from a stage; the ends of a job in one."""
    ends = [move.removeprefix("close_") for move in possible_moves(stage) if move.startswith("close_")]
    others = [HOW[move] for move in possible_moves(stage) if not move.startswith("close_")]
    return (*others, *([f"job close JOB {'|'.join(ends)}"] if ends else []))


def named_move(stage: str, target: str, *, is_fixed: bool) -> str:
    """The move that `job move` means by a stage to go to. UsageProblem: there is none that is made this way.

    is_fixed: whether the job was closed as fixed: only then is it watched.
    """
    by_hand = {"waiting": "wait", "agreed": "part_here", "on_test": "run", "tested": "reopen"}
    by_hand |= {"watched": "watch", "done": "send_back"}
    if target not in by_hand:
        told = f"; {STAGES[target]} comes with a command of its own" if target in STAGES else ""
        raise UsageProblem(f"job move goes to one of {', '.join(by_hand)}, not {target}{told}")
    if stage == "closed" and target == "watched" and not is_fixed:
        raise UsageProblem("only a set that was fixed is watched; this one goes to done")
    if stage == "closed" and target == "done" and is_fixed:
        raise UsageProblem(f"a set that was fixed is watched for {WATCH_DAYS} days first; move it to watched")
    return by_hand[target]


def stage_on(stage: str, since: date, today: date) -> str:
    """The stage as of today: what is watched is done when the days are over."""
    is_over = stage == "watched" and today >= watched_until(since)
    return "done" if is_over else stage


def watched_until(since: date) -> date:
    """The first day after the watch."""
    return since + timedelta(days=WATCH_DAYS)
