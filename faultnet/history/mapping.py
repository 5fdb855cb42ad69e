"""What each column of somebody's table is: matched by name, by what people call it, or by what it looks like.

A mapping is a plain value that can be written to a file, changed by its owner and used again.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from faultnet.errors import UsageProblem
from faultnet.history.row import AFTER, BEFORE
from faultnet.model import Model

IGNORED, KEPT_AS_NOTE, REPAIRS = "ignore", "notes", "repairs"
"""What a column can be besides a column of ours: left out, kept as a note, or repairs as people write them."""

MANY = (IGNORED, KEPT_AS_NOTE, REPAIRS)
"""What several columns can be at once."""

ALSO: Mapping[str, tuple[str, ...]] = {
    "job": ("job number", "job no", "no", "number", "order", "order number", "order no", "ref"),
    "opened": ("date", "date in", "day", "received", "came in", "intake", "in"),
    "closed": ("date out", "finished", "out", "collected", "returned"),
    "panel": ("panel code", "panel no", "screen code"),
    "board": ("board code", "board no", "supply board code"),
    "size": ("inch", "inches", "screen size", "diagonal"),
    "age": ("years", "age in years", "set age"),
    "hours": ("hours of use",),
    "occurrence": ("fails", "when", "fault occurs"),
    "nominal": ("nominal voltage", "label voltage"),
    "outcome": ("result", "end", "ended"),
    "verification": ("verified", "proof", "how sure"),
    "minutes": ("time", "labour", "labour minutes", "min"),
    "hours_on_test": ("on test", "test run", "soak"),
    "parts_cost": ("parts price", "cost of parts", "material"),
    "price": ("charged", "total", "invoice"),
    "after": ("comeback of", "earlier job", "back from"),
    "comeback": ("came back with",),
    "opened_by": ("technician", "staff", "who"),
    "notes": ("note", "remark", "remarks", "comment", "comments"),
    REPAIRS: ("repair", "replaced", "parts replaced", "part replaced", "fix", "work done"),
}
"""What people call the columns, besides the names of the model's observations."""

LIKE_FROM = 84.0
"""From this likeness (0 to 100) a name is taken for another, and shown to be confirmed (reasoned)."""


@dataclass(frozen=True)
class Use:
    """What a column is. how: `exact`, `synonym`, `nearest` or `told`. states: what texts in it mean, where they are not
    the model's own; normal: the state that a blank stands for, "" where a blank says nothing. format: of dates.
    """

    column: str
    is_: str
    how: str
    states: Mapping[str, str] = field(default_factory=dict)
    normal: str = ""
    format: str = ""


@dataclass(frozen=True)
class Splitting:
    """How a cell with several repairs is taken apart. parted_by: marks and words between them; works, fails: what says
    how it ended; words: what else people call a repair, by its id.
    """

    parted_by: tuple[str, ...] = ("+", ";", "/", "&", ",", "and")
    works: tuple[str, ...] = ("ok", "works", "fixed", "good", "yes", "repaired")
    fails: tuple[str, ...] = ("not", "no", "failed", "still dark", "no change", "bad")
    words: Mapping[str, str] = field(default_factory=dict)


def match_columns(columns: Sequence[str], model: Model, others: Iterable[str] = ()) -> tuple[Use, ...]:
    """What each column most likely is; what looks like nothing is kept as a note. No two are the same.

    others: what columns beside these are.
    """
    names = known_names(model)
    uses: list[Use] = []
    taken = {*others}
    for column in columns:
        target, how = _match(column, names, taken)
        if target not in (KEPT_AS_NOTE, IGNORED):
            taken.add(target)
        uses.append(Use(column, target, how))
    return tuple(uses)


def known_names(model: Model) -> dict[str, str]:
    """Every name of a column, plain, with what it is."""
    names: dict[str, str] = {}
    for target, others in ALSO.items():
        names.update({plain(other): target for other in others})
    for seen in model.visible.values():
        for name in (seen.label, seen.short, *seen.also):
            names[plain(name)] = seen.id
    names.update({plain(seen): seen for seen in model.visible})
    names.update({plain(name): name for name in (*BEFORE, *AFTER, REPAIRS)})
    return names


def _match(column: str, names: Mapping[str, str], taken: set[str]) -> tuple[str, str]:
    name = plain(column)
    target = names.get(name)
    if target is not None and target not in taken:
        return target, "exact" if plain(target) == name else "synonym"
    from rapidfuzz import fuzz, process

    for other, _, _ in process.extract(name, names.keys(), scorer=fuzz.ratio, score_cutoff=LIKE_FROM, limit=5):
        if names[other] not in taken:
            return names[other], "nearest"
    return KEPT_AS_NOTE, "nearest"


def plain(text: str) -> str:
    """A name without case, and with one blank for whatever parts its words."""
    return " ".join("".join(c if c.isalnum() else " " for c in text.casefold()).split())


def as_data(uses: Sequence[Use], splitting: Splitting | None = None) -> dict[str, Any]:
    """A mapping as plain data, for a file; with how repairs are taken apart, where a column has them."""
    told: dict[str, Any] = {}
    for use in uses:
        one: dict[str, Any] = {"is": use.is_}
        one |= {"states": dict(use.states)} if use.states else {}
        one |= {"blank": use.normal} if use.normal else {}
        one |= {"format": use.format} if use.format else {}
        told[use.column] = one
    rules = splitting or Splitting()
    data: dict[str, Any] = {"columns": told}
    if any(use.is_ == REPAIRS for use in uses):
        data["repairs"] = {
            "parted_by": list(rules.parted_by),
            "works": list(rules.works),
            "not": list(rules.fails),
            "words": dict(rules.words),
        }
    return data


def splitting_from(data: Mapping[str, Any], model: Model) -> Splitting:
    """How repairs are taken apart by a mapping's file; as usual where it does not say. UsageProblem lists its slips."""
    told = data.get("repairs") or {}
    usual, problems = Splitting(), list[str]()
    if not isinstance(told, Mapping):
        raise UsageProblem("repairs: write parted_by, works, not and words below it")
    problems += [
        f"repairs: {name}: unknown; known are parted_by, works, not, words" for name in told if name not in _RULES
    ]
    lists: dict[str, tuple[str, ...]] = {}
    for name, fallback in (("parted_by", usual.parted_by), ("works", usual.works), ("not", usual.fails)):
        listed = told.get(name, list(fallback))
        if not isinstance(listed, list) or not all(isinstance(each, str | bool) for each in listed):
            problems.append(f"repairs: {name}: a list of words, such as [{', '.join(fallback[:3])}]")
            listed = []
        lists[name] = tuple(_as_written(each) for each in listed)
    words = told.get("words") or {}
    if not isinstance(words, Mapping):
        problems.append("repairs: words: write each word with the repair it means, such as gizmo: replace_driver")
        words = {}
    for word, repair in words.items():
        if repair not in model.repairs:
            problems.append(f"repairs: words: {word}: {repair} is no repair of {model.id}: {', '.join(model.repairs)}")
    if problems:
        raise UsageProblem(*problems)
    named = {str(word): str(repair) for word, repair in words.items()}
    return Splitting(lists["parted_by"], lists["works"], lists["not"], named)


_RULES = ("parted_by", "works", "not", "words")


def _as_written(word: str | bool) -> str:
    return {True: "yes", False: "no"}[word] if isinstance(word, bool) else word


def from_data(data: Mapping[str, Any], columns: Sequence[str], model: Model) -> tuple[Use, ...]:
    """The mapping of a file for these columns; those it does not name are matched. UsageProblem lists its slips."""
    told = data.get("columns")
    if not isinstance(told, Mapping):
        raise UsageProblem("a mapping needs `columns`: of each column what it is")
    known = {*known_names(model).values(), IGNORED}
    problems: list[str] = []
    named: dict[str, Use] = {}
    for column, one in told.items():
        one = {"is": one} if isinstance(one, str) else one
        if not isinstance(one, Mapping) or one.get("is") not in known:
            problems.append(f"{column}: `is` must be a column of ours, an observation of {model.id}, notes or ignore")
            continue
        states = {str(text): str(state) for text, state in (one.get("states") or {}).items()}
        problems += _wrong_states(str(column), str(one["is"]), [*states.values(), str(one.get("blank") or "")], model)
        blank, form = str(one.get("blank") or ""), str(one.get("format") or "")
        named[str(column)] = Use(str(column), str(one["is"]), "told", states, blank, form)
    problems += _twice([named[column] for column in columns if column in named])
    if problems:
        raise UsageProblem(*problems)
    rest, told_of = [c for c in columns if c not in named], {use.is_ for use in named.values()}
    guessed = {use.column: use for use in match_columns(rest, model, told_of - {*MANY})}
    return tuple(named[c] if c in named else guessed[c] for c in columns)


def _twice(uses: Sequence[Use]) -> list[str]:
    """What is wrong where several columns are said to be the same."""
    columns: dict[str, list[str]] = {}
    for use in uses:
        columns.setdefault(use.is_, []).append(use.column)
    return [
        f"{' and '.join(named)}: only one of them can be {target}; keep the others as notes, or leave them out"
        for target, named in columns.items()
        if len(named) > 1 and target not in MANY
    ]


def _wrong_states(column: str, target: str, states: Iterable[str], model: Model) -> list[str]:
    seen = model.visible.get(target)
    if seen is None:
        return []
    return [
        f"{column}: {state} is no state of {target}; it has {', '.join(seen.states)}"
        for state in states
        if state and state not in seen.states
    ]
