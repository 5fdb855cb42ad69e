"""Rows of somebody's table in our words: states, volts, days, sums and repairs as people write them."""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property

from faultnet.case.entry import find_state, parse_event, repair_names
from faultnet.case.points import looks_like_volts, parse_points
from faultnet.errors import UsageProblem
from faultnet.history.items import joined, parted
from faultnet.history.mapping import IGNORED, KEPT_AS_NOTE, LIKE_FROM, REPAIRS, Splitting, Use, plain
from faultnet.history.read import AnyMeter
from faultnet.jobs.closing import COMEBACKS, OUTCOMES, VERIFICATIONS
from faultnet.jobs.facts import OCCURRENCES
from faultnet.model import Model
from faultnet.model.nodes import Observation

CHOICES: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    "outcome": {
        "fixed": ("ok", "repaired", "done", "works", "yes"),
        "no_fault_found": ("nff", "no fault", "nothing found"),
        "not_worth_repairing": ("uneconomic", "not worth it", "scrap", "too dear"),
        "no_part": ("no part", "part not available", "no parts"),
        "declined": ("declined", "refused", "customer declined"),
        "harmed": ("broken panel", "panel broken", "damaged"),
    },
    "verification": {
        "part_tested": ("part tested", "tested"),
        "proved_by_swap": ("swap", "by swap"),
        "symptom_cleared": ("symptom gone", "works again", "cleared"),
        "not_verified": ("no", "not checked", "unknown"),
    },
    "occurrence": {"always": ("permanent",), "sometimes": ("intermittent", "now and then"), "warm": (), "cold": ()},
    "comeback": {"same": ("same fault",), "other": ("another fault", "different")},
}
"""What people write for our words."""

_WORDS: Mapping[str, Mapping[str, str]] = {
    "outcome": OUTCOMES,
    "verification": VERIFICATIONS,
    "occurrence": OCCURRENCES,
    "comeback": COMEBACKS,
}

NUMBERS = ("size", "age", "hours", "nominal", "minutes", "hours_on_test", "parts_cost", "price")
DAYS = ("opened", "closed", "stage_since")

_NUMBER = re.compile(r"-?\d+(?:[.,]\d+)*")


@dataclass(eq=False)
class Translator:
    """Translates rows of a table with this mapping. unmatched: what no cell of ours could be made of, by column."""

    model: Model
    uses: Sequence[Use]
    decimal_comma: bool = False
    splitting: Splitting = field(default_factory=Splitting)
    unmatched: Counter[tuple[str, str]] = field(default_factory=Counter)
    _known: dict[tuple[int, str], tuple[str, str]] = field(default_factory=dict)

    @cached_property
    def _read(self) -> Mapping[int, Use]:
        """The columns that are not left out, by their place."""
        return {number: use for number, use in enumerate(self.uses) if use.is_ != IGNORED}

    @cached_property
    def _with_normal(self) -> Sequence[tuple[int, Use]]:
        """Those in which a blank says something."""
        return [(number, use) for number, use in self._read.items() if use.normal]

    def row(self, cells: Sequence[str]) -> dict[str, str]:
        """A row in our columns. UsageProblem lists every cell that is wrong, not merely unknown."""
        row: dict[str, str] = {}
        notes: list[str] = []
        problems: list[str] = []
        for number, use in self._with_normal:
            if number >= len(cells) or not cells[number]:
                row[use.is_] = use.normal
        for number, text in enumerate(cells):
            if not text or number not in self._read:
                continue
            use = self._read[number]
            if use.is_ == KEPT_AS_NOTE:
                notes += self._notes(use, text)
                continue
            try:
                said, left = self._said(number, use, text)
            except UsageProblem as error:
                problems += [f"{use.column}: {problem}" for problem in error.problems]
                continue
            if said:
                target = "then" if use.is_ == REPAIRS else use.is_
                row[target] = f"{row[target]}; {said}" if target == "then" and target in row else said
            if left:
                notes.append(f"{use.column}: {left}")
                self.unmatched[use.column, left] += 1
        if problems:
            raise UsageProblem(*problems)
        if notes:
            row["notes"] = joined(notes)
        return row

    def _said(self, number: int, use: Use, text: str) -> tuple[str, str]:
        """What a cell says in our words, and what is left of it as a note; remembered for each text."""
        key = (number, text)
        if key not in self._known:
            self._known[key] = self._translated(use, text)
        return self._known[key]

    def _translated(self, use: Use, text: str) -> tuple[str, str]:
        if use.is_ == REPAIRS:
            return self._repairs(text)
        if use.is_ in DAYS:
            return _day(text, use.format), ""
        if use.is_ in NUMBERS:
            return self._number(text), ""
        if use.is_ in CHOICES:
            return self._choice(use, text)
        seen = self.model.visible.get(use.is_)
        return (text, "") if seen is None else self._finding(use, seen, text)

    def _notes(self, use: Use, text: str) -> list[str]:
        """The notes in a cell: several where the column is our own, else one, with its heading if it was guessed."""
        if use.column == KEPT_AS_NOTE:
            return parted(text)
        return [f"{use.column}: {text}" if use.how == "nearest" else text]

    def _finding(self, use: Use, seen: Observation, text: str) -> tuple[str, str]:
        if (told := use.states.get(text)) is not None:
            return told, ""
        if seen.reading is not None and self._has_decimal_commas(text):
            return self._volts(text), ""
        if all(_is_ours(self.model, seen, item) for item in parted(text)):
            return text, ""
        if (state := find_state(seen, text)) is not None:
            return state, ""
        if seen.reading is not None and looks_like_volts(text):
            return self._volts(text), ""
        from rapidfuzz import fuzz, process

        names = {plain(name): s for s in seen.states for name in (s, seen.state_labels.get(s, s))}
        best = process.extractOne(plain(text), names.keys(), scorer=fuzz.ratio, score_cutoff=LIKE_FROM)
        return (names[best[0]], "") if best is not None else ("", text)

    def _has_decimal_commas(self, text: str) -> bool:
        """Whether commas in volts are decimal signs; as we write volts, they would part points."""
        return self.decimal_comma and "," in text and "." not in text and looks_like_volts(text)

    def _volts(self, text: str) -> str:
        """Volts with a comma as the decimal sign, where the table has them so; points parted by `/`, `;` or blanks."""
        if self.decimal_comma:
            points = re.split(r"\s*[/;]\s*|\s+(?=\d)", text)
            text = ",".join(point.replace(",", ".") for point in points)
        parse_points(text)
        return text

    def _number(self, text: str) -> str:
        found = _NUMBER.search(text)
        if found is None:
            raise UsageProblem(f"{text} is no number")
        number = found[0]
        if self.decimal_comma and number.count(",") == 1:
            return number.replace(".", "").replace(",", ".")
        if number.count(",") and number.count("."):
            return number.replace(",", "")
        if "," in number:
            raise UsageProblem(f"{text}: is the comma a decimal sign? Say so with --decimal-comma")
        return number

    def _choice(self, use: Use, text: str) -> tuple[str, str]:
        if (told := use.states.get(text)) is not None:
            return told, ""
        name = plain(text)
        for word, others in CHOICES[use.is_].items():
            if name in (plain(word), plain(_WORDS[use.is_][word]), *map(plain, others)):
                return word, ""
        return "", text

    @cached_property
    def _between(self) -> re.Pattern[str]:
        """What stands between several repairs; a comma between digits is a decimal sign."""
        marks = [re.escape(mark) for mark in self.splitting.parted_by if not mark.isalpha()]
        marks = [mark if mark != "," else r",(?!\d)" for mark in marks]
        words = [rf"\b{re.escape(word)}\b" for word in self.splitting.parted_by if word.isalpha()]
        return re.compile(rf"\s*(?:{'|'.join([*marks, *words]) or '(?!)'})\s*", flags=re.IGNORECASE)

    @cached_property
    def _endings(self) -> Mapping[str, bool]:
        """What says how a repair ended."""
        works, fails = self.splitting.works, self.splitting.fails
        return {**{plain(word): True for word in works}, **{plain(word): False for word in fails}}

    @cached_property
    def _repair_words(self) -> Mapping[str, str]:
        """What people call repairs: their names and labels, the parts that they replace, and the owner's own words."""
        words: dict[str, str] = {}
        for repair in self.model.repairs.values():
            for part in repair.fixes:
                component = self.model.components[part]
                for name in (component.label, component.short, *component.also, part):
                    words.setdefault(plain(name), repair.id)
        words.update({plain(name): repair for name, repair in repair_names(self.model).items()})
        words.update({plain(repair.label): repair.id for repair in self.model.repairs.values()})
        return words | {plain(word): repair for word, repair in self.splitting.words.items()}

    def _repairs(self, text: str) -> tuple[str, str]:
        """Repairs as people write them, "strips + supply, ok", as an event; pieces that are none are left."""
        names, endings = self._repair_words, self._endings
        made: list[str] = []
        left: list[str] = []
        works: bool | None = None
        for piece in filter(None, self._between.split(text)):
            name, _, ending = piece.partition("=")
            if (ends := endings.get(plain(ending or piece))) is not None and plain(name) not in names:
                works = ends
            elif (repair := names.get(plain(name))) is not None:
                made.append(repair)
                works = endings.get(plain(ending), works) if ending else works
            else:
                left.append(piece)
        if not made:
            return "", text
        told = f"{'+'.join(dict.fromkeys(made))}={'works' if works is not False else 'not'}"
        return told, ", ".join(left)


def _is_ours(model: Model, seen: Observation, text: str) -> bool:
    """Whether a cell is written as our own tables write it."""
    if "," in text and not looks_like_volts(text) and ":" not in text:
        return False
    try:
        parse_event(model, f"{seen.id}={text}", AnyMeter())
    except UsageProblem:
        return False
    return True


def _day(text: str, form: str) -> str:
    """A day or moment as ISO 8601. UsageProblem: it is written in another way, and nobody said how."""
    try:
        return (datetime.strptime(text, form) if form else datetime.fromisoformat(text)).isoformat()
    except ValueError:
        pass
    if not form and re.fullmatch(r"\d{1,2}\.\d{1,2}\.\d{4}", text):
        return datetime.strptime(text, "%d.%m.%Y").date().isoformat()
    hint = "" if form else "; say how days are written with --days, such as %d/%m/%Y"
    raise UsageProblem(f"{text} is no day{f' of the form {form}' if form else ''}{hint}")
