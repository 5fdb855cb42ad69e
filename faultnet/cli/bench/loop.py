"""The guided loop: where the job stands, what to do next, and one key to say what was seen.

Every answer is written down at once, so leaving, a lost connection or a flat battery loses nothing; the job is read
anew for each screen, so that two people may work on one set.
"""

from collections.abc import Iterator, Sequence

from faultnet.cli.as_text import advice, model_line, standing
from faultnet.cli.bench import acts
from faultnet.cli.bench.keys import Left, ask_key
from faultnet.cli.bench.pick import pick_job
from faultnet.cli.bench.screen import Screen
from faultnet.cli.job.told import earlier_lines, heading
from faultnet.cli.kinds import onward
from faultnet.cli.terminal import bold, note, wrapped
from faultnet.cli.workshop import workshop_of
from faultnet.errors import ContradictoryEvidence, UsageProblem
from faultnet.jobs import Entry
from faultnet.jobs.stage import ENDED, possible_moves
from faultnet.model.work import Caution
from faultnet.telling.job import entry_words
from faultnet.workshop.looking import look
from faultnet.workshop.workshop import Workshop, on_the_bench


def bench_loop(number: str, *, trained: bool | None, by: str, db: str, shop: str) -> None:
    """Work through a job until somebody leaves. number: "" to pick one, or open a new one."""
    workshop = workshop_of(db, shop)
    try:
        number = number or pick_job(workshop, by)
        _work(workshop, number, trained)
    except Left:
        pass
    if number:
        print(f"Left. Everything is kept; go on with: faultnet bench {number}")


def _work(workshop: Workshop, number: str, trained: bool | None) -> None:
    shown: set[Caution] = set()
    before: Screen | None = None
    mine: set[int] = set()
    while True:
        screen = _look(workshop, number, trained, shown)
        if screen is None:
            acts.take_back_asked(workshop, number)
            continue
        if before is not None:
            _others(screen, before, mine)
        print("\n".join(_screen(workshop, screen, is_first=before is None)))
        before, mine = screen, {entry.seq for entry in _one_key(workshop, screen)}


def _look(workshop: Workshop, number: str, trained: bool | None, shown: set[Caution]) -> Screen | None:
    """What is known now; None where the entries contradict each other, which is told."""
    try:
        found = look(workshop, number, "bench", trained=trained)
    except ContradictoryEvidence as error:
        bench = on_the_bench(workshop, number)
        print(wrapped(str(error), 0))
        for entry in bench.job.standing[-6:]:
            print(wrapped(f"{entry.seq}. {entry_words(entry, bench.model)}", 2, 5))
        return None
    return Screen(found, shown)


def _others(screen: Screen, before: Screen, mine: set[int]) -> None:
    """What somebody else entered since the last screen. mine: numbers of what was entered here."""
    for entry in screen.job.entries[len(before.job.entries) :]:
        if entry.seq not in mine:
            print(wrapped(f"entered elsewhere: {entry.seq}. {entry_words(entry, screen.model)}", 0, 2))


def _screen(workshop: Workshop, screen: Screen, *, is_first: bool) -> Iterator[str]:
    yield ""
    yield from heading(screen.job, workshop.clock().date())
    if is_first:
        yield model_line(screen.model)
        yield from (wrapped(f"note: {each}", 2, 4) for each in screen.bench.notes)
        yield from earlier_lines(screen.bench)
    yield ""
    yield from standing(screen.model, screen.diagnosis, likely_only=True)
    yield ""
    if screen.job.stage not in ENDED:
        yield bold("Do this next")
        yield from advice(screen.model, screen.ranking, screen.shown, screen.keys)
        yield ""
        yield from onward(screen.model, screen.diagnosis)
    yield wrapped(_keys_line(screen), 0, 2)


def _keys_line(screen: Screen) -> str:
    """The keys that do something now."""
    told = []
    if screen.job.stage not in ENDED:
        if screen.keys:
            told.append(f"{screen.keys[0]}-{screen.keys[-1]} seen")
        elif screen.advised is not None:
            told.append("a answer")
        if screen.advised is not None and screen.takes_volts:
            told.append("v volts")
        told += ["? why", "o other test", "e enter"]
        told += ["s skip"] if screen.advised is not None else []
        told += ["b take back", "r repair", "p price"]
        told += ["g go on with another model"] if screen.goes_on_with else []
    told += ["c close"] if any(m.startswith("close") for m in possible_moves(screen.job.stage)) else []
    told += ["m move on"]
    return "Keys: " + ", ".join([*told, "l leave"])


def _one_key(workshop: Workshop, screen: Screen) -> Sequence[Entry]:
    """Ask for a key and do what it says, until something was written down, and give that."""
    while True:
        pressed = ask_key("> ")
        try:
            if pressed in screen.keys:
                return acts.answer(workshop, screen, screen.keys.index(pressed))
            act = acts.BY_KEY.get(pressed.lower())
            if act is not None and (entered := act(workshop, screen)) is not None:
                return entered
            if act is None:
                print(wrapped(_keys_line(screen), 0, 2))
        except UsageProblem as error:
            note(str(error))
