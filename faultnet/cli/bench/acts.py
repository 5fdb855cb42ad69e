"""What the keys of the loop do: each gives what was written down, or None where nothing was."""

from collections.abc import Callable, Mapping, Sequence

from faultnet.case.words import state_words
from faultnet.cli.as_text import reasons, step_of_test
from faultnet.cli.bench.ask import ask_repair, ask_volts, choose
from faultnet.cli.bench.keys import Left, ask_key, ask_line
from faultnet.cli.bench.screen import Screen
from faultnet.cli.job.end import hints
from faultnet.cli.job.told import entry_line
from faultnet.cli.price import price_text
from faultnet.cli.terminal import wrapped
from faultnet.errors import UsageProblem
from faultnet.jobs import Entry
from faultnet.jobs.closing import OUTCOMES, VERIFICATIONS
from faultnet.jobs.replay import usual_symptom
from faultnet.jobs.stage import STAGES, possible_moves
from faultnet.ranking import RankedTest
from faultnet.telling.job import entry_words
from faultnet.workshop.closing_typed import ClosingTyped, closing_typed
from faultnet.workshop.ending import answer_price, close, move, name_price
from faultnet.workshop.entering import TAKEN_BACK, enter, go_on_with, skip, take_back
from faultnet.workshop.repairing import Doubtful, repair
from faultnet.workshop.sums import parse_sum
from faultnet.workshop.workshop import Workshop, read_job

Written = Sequence[Entry] | None

Act = Callable[[Workshop, Screen], Written]


def answer(workshop: Workshop, screen: Screen, number: int) -> Sequence[Entry]:
    """The advised test showed this outcome."""
    test = screen.advised
    assert test is not None
    return _enter(workshop, screen, [f"{test.reveals[0]}={test.outcomes[number].state}"])


def answer_each(workshop: Workshop, screen: Screen) -> Written:
    """The advised test shows several things: each is asked for."""
    test = screen.advised
    return None if test is None else _enter(workshop, screen, _asked(screen, test))


def volts(workshop: Workshop, screen: Screen) -> Written:
    """The advised test was read in volts, point by point."""
    test = screen.advised
    if test is None or not screen.takes_volts:
        return None
    leaf = next(leaf for leaf in test.reveals if screen.model.visible[leaf].reading is not None)
    return _enter(workshop, screen, [ask_volts(screen.model.visible[leaf])])


def why(_workshop: Workshop, screen: Screen) -> None:
    """Every reason, and what each entry did to the odds."""
    print("\n".join(reasons(screen.model, screen.bench.case, screen.diagnosis, screen.bench.replayed.numbers)))


def other(workshop: Workshop, screen: Screen) -> Written:
    """Another test than the one advised, with its set-up and cautions."""
    held = screen.ranking.held_because
    tests = [test for test in screen.ranking.tests if ("test", test.test) not in held]
    rows = [
        (
            test.label,
            f"{test.gain_repair_bits:.2f} bit, {test.step.setup_minutes + test.step.minutes:.0f} min, "
            f"hazard {test.step.hazard}",
        )
        for test in tests
    ]
    number = choose("Which test?", rows)
    if number is None:
        return None
    test = tests[number]
    print("\n".join(step_of_test(screen.model, test, "chosen by hand", screen.shown)))
    return _enter(workshop, screen, _asked(screen, test))


def enter_text(workshop: Workshop, screen: Screen) -> Written:
    """Anything that can be entered, as it is typed for `job add`."""
    print(wrapped("As for `faultnet job add`: sound=present loaded=36.8,37.1, or --note TEXT; Enter for nothing.", 2))
    text = ask_line("enter: ")
    if not text:
        return None
    if text.startswith("--note "):
        return _told(screen, enter(workshop, screen.job.number, note=text.removeprefix("--note ").strip()))
    return _enter(workshop, screen, text.split())


def skip_test(workshop: Workshop, screen: Screen) -> Written:
    """The advised test will not be made."""
    test = screen.advised
    if test is None:
        return None
    return _told(screen, skip(workshop, screen.job.number, test.test, ask_line(f"why skip {test.label}? ")))


def take_back_last(workshop: Workshop, screen: Screen) -> Written:
    """The entry that was made last does not stand any more."""
    back = [entry for entry in screen.job.standing if entry.kind in TAKEN_BACK]
    if not back:
        print("Nothing is there to take back.")
        return None
    last = max(back, key=lambda entry: entry.seq)
    print(wrapped(f"{last.seq}. {entry_words(last, screen.model)}", 2, 5))
    if ask_key("take this back? [y/n] ").lower() != "y":
        return None
    return _told(screen, take_back(workshop, screen.job.number, last.seq))


def take_back_asked(workshop: Workshop, number: str) -> None:
    """Ask which entry to take back, where they contradict each other."""
    text = ask_line("Number of the entry to take back: ")
    if text.isdecimal():
        take_back(workshop, number, int(text))


def repair_made(workshop: Workshop, screen: Screen) -> Written:
    """A repair was made: which, with which parts, and whether the set works."""
    asked = ask_repair(screen)
    if asked is None:
        return None
    made, parts = asked
    try:
        return _told(screen, repair(workshop, screen.job.number, made, parts))
    except Doubtful as doubtful:
        for doubt in doubtful.doubts:
            print(wrapped(f"? {doubt}", 0, 2))
        if ask_key("write it down as it is? [y/n] ").lower() != "y":
            print("Nothing was written.")
            return None
        return _told(screen, repair(workshop, screen.job.number, made, parts, sure=True))


def price(workshop: Workshop, screen: Screen) -> Written:
    """What to name to the customer; what was named, and what the customer said."""
    number, settings = screen.job.number, workshop.shop.settings
    moves = possible_moves(screen.job.stage)
    if "agree" in moves:
        pressed = ask_key("the customer: a agreed, d declined, Enter neither ").lower()
        if pressed in ("a", "d"):
            return _told(screen, answer_price(workshop, number, agreed=pressed == "a"))
    print("\n".join(price_text(screen.model, screen.bench.case, screen.ranking, full=True)))
    text = ask_line("price named to the customer, or nothing: ")
    if not text:
        return None
    return _told(screen, name_price(workshop, number, parse_sum("price", text, decimal_comma=settings.decimal_comma)))


def close_job(workshop: Workshop, screen: Screen) -> Written:
    """How the job ended."""
    possible = [m.removeprefix("close_") for m in possible_moves(screen.job.stage) if m.startswith("close_")]
    chosen = choose("How did it end?", [(OUTCOMES[outcome], "") for outcome in possible])
    if chosen is None:
        return None
    outcome, verified, hours = possible[chosen], "", ""
    if outcome == "fixed":
        surely = choose("How sure is the cause?", [(words, "") for words in VERIFICATIONS.values()])
        verified = [*VERIFICATIONS][-1 if surely is None else surely]
        hours = ask_line("hours on test, or nothing: ")
    minutes = ask_line("minutes at the bench in all, or nothing: ")
    paid = ask_line("price paid, or nothing for the price agreed: ")
    typed = ClosingTyped(outcome, verified, hours, minutes, "", paid, ask_line("note, or nothing: "), "")
    closing = closing_typed(typed, screen.job, decimal_comma=workshop.shop.settings.decimal_comma)
    entered = _told(screen, close(workshop, screen.job.number, closing))
    for hint in hints(read_job(workshop, screen.job.number)[0]):
        print(wrapped(hint, 0, 2))
    return entered


def move_on(workshop: Workshop, screen: Screen) -> Written:
    """Waiting for a part, running on test, gone home."""
    targets = {"wait": "waiting", "part_here": "agreed", "run": "on_test", "reopen": "tested", "watch": "watched"}
    targets |= {"send_back": "done"}
    closing = screen.job.closing
    left_out = "send_back" if closing is not None and closing.outcome == "fixed" else "watch"
    possible = [targets[m] for m in possible_moves(screen.job.stage) if m in targets and m != left_out]
    if not possible:
        print("No other stage can be reached from here.")
        return None
    number = choose("To which stage?", [(STAGES[stage], "") for stage in possible])
    return None if number is None else _told(screen, move(workshop, screen.job.number, possible[number]))


def go_on(workshop: Workshop, screen: Screen) -> Written:
    """Another model goes on from what this one found out."""
    told = screen.diagnosis.next_model
    if told is None or not told.models:
        return None
    number = choose("Go on with which model?", [(name, when) for name, when in told.models.items()])
    return None if number is None else _told(screen, go_on_with(workshop, screen.job.number, [*told.models][number]))


def leave(_workshop: Workshop, _screen: Screen) -> None:
    """Leave the loop."""
    raise Left


BY_KEY: Mapping[str, Act] = {
    "a": answer_each,
    "v": volts,
    "?": why,
    "o": other,
    "e": enter_text,
    "s": skip_test,
    "b": take_back_last,
    "g": go_on,
    "r": repair_made,
    "p": price,
    "c": close_job,
    "m": move_on,
    "l": leave,
}
"""What each key does, besides the digits of an advised test."""


def _asked(screen: Screen, test: RankedTest) -> list[str]:
    """What a test showed, asked for each observation that it reveals."""
    texts = []
    for leaf in test.reveals:
        seen = screen.model.visible[leaf]
        rows = [(state_words(seen, state), "") for state in seen.states]
        rows += [("volts, point by point", "")] if seen.reading is not None else []
        number = choose(f"{seen.label}?", rows)
        if number is None:
            continue
        texts.append(ask_volts(seen) if number == len(seen.states) else f"{leaf}={seen.states[number]}")
    if not texts:
        raise UsageProblem("nothing was entered")
    return texts


def _enter(workshop: Workshop, screen: Screen, texts: Sequence[str]) -> Sequence[Entry]:
    """Write it down; of a set that fails only at times it is asked whether it did."""
    if usual_symptom(screen.job) != "showing" and not any("@" in text for text in texts):
        pressed = ask_key("was it failing meanwhile? [y/n, Enter not known] ").lower()
        symptom = {"y": "showing", "n": "not_showing"}.get(pressed, "unknown")
        texts = [f"{text}@{symptom}" for text in texts]
    return _told(screen, enter(workshop, screen.job.number, texts))


def _told(screen: Screen, written: Sequence[Entry]) -> Sequence[Entry]:
    """Say what was written down, and give it back."""
    print("Written down:")
    print("\n".join(entry_line(entry, screen.model) for entry in written))
    return written
