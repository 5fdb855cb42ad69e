"""The list of nominal voltages: looked through, added to, put right, and learned from past jobs."""

from collections.abc import Sequence

from fastapi import APIRouter
from starlette.responses import Response

from faultnet.errors import UsageProblem
from faultnet.shop.voltages import KINDS, Entry
from faultnet.store.summary import count_stages
from faultnet.store.voltages import delete_voltages, insert_voltages, numbered_voltages
from faultnet.telling.voltages import SOURCES, entry_words, learned_table, learned_words, next_set
from faultnet.web.answering import go_to, page
from faultnet.web.failures import problems_of
from faultnet.web.shown.voltages import list_shown
from faultnet.web.visit import Form, Numbered, Sent, Visit, Visiting
from faultnet.workshop.nominals import keep_nominals, learn_nominals
from faultnet.workshop.voltages_typed import Named, VoltsTyped, doubts, parse_entry

router = APIRouter()

FIELDS = Named("code", "loaded", "unplugged", "source", "day", "note", "the shop's settings say that a comma is")
"""What the fields of an entry are called on the page."""

MOST_LOOKED_THROUGH = 5_000
"""Jobs that are looked through while somebody waits, some 20 s; more are for the command line."""

TOO_MANY = (
    f"looking through more than {MOST_LOOKED_THROUGH:,} jobs would hold up the benches; where this page runs: faultnet "
    "voltages learn"
)
CHANGED = "this entry is not in the list any more as it was shown; look at the list again"


@router.get("/voltages")
def shown(visit: Visiting) -> Response:
    """The list, or the codes that were looked for."""
    return _listed(visit, Form())


@router.post("/voltages")
def added(visit: Visiting, form: Sent) -> Response:
    """Add an entry."""
    kind = form.text("kind")
    texts = (form.text(name) for name in ("code", "loaded", "unplugged", "source", "day", "note"))
    typed = VoltsTyped(kind if kind in KINDS else KINDS[0], *texts)
    today, comma = visit.workshop.clock().date(), visit.workshop.shop.settings.decimal_comma
    try:
        entry = parse_entry(typed, today, decimal_comma=comma, named=FIELDS)
    except UsageProblem as error:
        return _listed(visit, form, problems_of(error))
    with visit.workshop.database.write() as connection:
        insert_voltages(connection, [entry])
        number = max(numbered_voltages(connection))
    return go_to("/voltages", code=entry.code, added=str(number))


@router.get("/voltages/learn")
def learning(visit: Visiting) -> Response:
    """What past jobs say of voltages, once somebody wants to know; nothing is written."""
    with visit.workshop.database.read() as connection:
        n_jobs = sum(count_stages(connection).values())
    is_wanted = visit.query.get("look") == "yes"
    if is_wanted and n_jobs > MOST_LOOKED_THROUGH:
        raise UsageProblem(TOO_MANY)
    found = learn_nominals(visit.workshop) if is_wanted else None
    return page(
        visit,
        "learn_voltages.html",
        n_jobs=n_jobs,
        said="" if found is None else learned_words(found),
        n_found=0 if found is None else len(found.entries),
        table=None if found is None or not found.entries else learned_table(found),
    )


@router.post("/voltages/learn")
def learned(visit: Visiting) -> Response:
    """Put into the list what past jobs say."""
    with visit.workshop.database.read() as connection:
        if sum(count_stages(connection).values()) > MOST_LOOKED_THROUGH:
            raise UsageProblem(TOO_MANY)
    found = learn_nominals(visit.workshop)
    keep_nominals(visit.workshop, found)
    return go_to("/voltages", learned="yes")


@router.get("/voltages/{number}")
def asked(number: Numbered, visit: Visiting) -> Response:
    """Ask whether an entry is to go."""
    with visit.workshop.database.read() as connection:
        entry = numbered_voltages(connection).get(number)
    if entry is None:
        raise UsageProblem(CHANGED)
    return page(visit, "voltage.html", number=number, said=_identity(entry), entry=entry)


@router.post("/voltages/{number}/remove")
def removed(number: Numbered, visit: Visiting, form: Sent) -> Response:
    """Take an entry out."""
    with visit.workshop.database.write() as connection:
        entry = numbered_voltages(connection).get(number)
        if entry is None or _identity(entry) != form.text("entry"):
            raise UsageProblem(CHANGED)
        delete_voltages(connection, entry)
    return go_to("/voltages", removed="yes")


def _identity(entry: Entry) -> str:
    """All that an entry says, in one line: its number alone may be that of another one by now."""
    return " ".join(filter(None, (entry_words(entry), entry.note)))


def _listed(visit: Visit, form: Form, problems: Sequence[str] = ()) -> Response:
    looked_for, number = visit.query.get("code", "").strip(), visit.query.get("added", "")
    with visit.workshop.database.read() as connection:
        entries = numbered_voltages(connection)
    new = entries.get(int(number)) if number.isascii() and number.isdecimal() and len(number) < 10 else None
    return page(
        visit,
        "voltages.html",
        problems=problems,
        listed=list_shown(entries, looked_for),
        n_entries=len(entries),
        looked_for=looked_for,
        added=None if new is None else entry_words(new),
        doubts=() if new is None else _doubts(new, int(number), entries),
        next_set="" if new is None else next_set([*entries.values()], new.kind, new.code),
        is_removed=visit.query.get("removed") == "yes",
        is_learned=visit.query.get("learned") == "yes",
        sources=SOURCES,
        typed=form.text,
    )


def _doubts(new: Entry, number: int, entries: dict[int, Entry]) -> tuple[str, ...]:
    return tuple(doubts(new, [entry for other, entry in entries.items() if other < number]))
