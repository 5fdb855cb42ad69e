"""Reading BIF, the interchange format for Bayesian networks (version 0.15), as strictly as its numbers deserve.

A reader of our own, because pgmpy's cannot be made safe: tried on version 1.1.2, it gives an empty network for any
text, fills rows that are missing with zeros, takes one of two rows for the same states, and does not notice that the
end of a file is gone. Checking its result is no way out, since what it dropped is no longer there to check. Here every
token has its place, and one that does not belong there is an error with its line.

    network NAME { property ...; }
    variable NAME { type discrete [ 2 ] { yes, no }; property ...; }
    probability ( CHILD | PARENT, ... ) { (yes, no) 0.9, 0.1; default 0.5, 0.5; }     or     { table 0.9, 0.1; }

Names are words or quoted. A state may be several words where commas part the states. In `table` the last parent changes
fastest and the child's state slowest, as in the format's definition and in other readers.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass

from faultnet.interchange.written import Definition, Entry, Unreadable, Variable, Written, shown

_TOKEN = re.compile(
    r"""(?P<gap>\s+|//[^\n]*|/\*.*?\*/)
      | (?P<quoted>"[^"\n]*")
      | (?P<mark>[{}()\[\],;|])
      | (?P<word>(?:(?!//|/\*)[^\s{}()\[\],;|"])+)""",
    re.VERBOSE | re.DOTALL,
)
NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_CARDINAL = re.compile(r"\d{1,6}")


@dataclass(frozen=True)
class _Token:
    text: str
    kind: str
    line: int
    column: int


def read_bif(text: str) -> Written:
    """What a BIF text says. Unreadable at the first token that does not belong where it stands."""
    return _Reader(list(_tokens(text))).network()


def _tokens(text: str) -> Iterator[_Token]:
    place, line, start_of_line = 0, 1, 0
    while place < len(text):
        found = _TOKEN.match(text, place)
        if found is None:
            what = "a quoted name that does not end on its line" if text[place] == '"' else "a comment without an end"
            raise Unreadable(what, line, place - start_of_line + 1)
        kind = str(found.lastgroup)
        if kind != "gap":
            yield _Token(found.group().strip('"'), kind, line, place - start_of_line + 1)
        if newlines := found.group().count("\n"):
            line += newlines
            start_of_line = place + found.group().rindex("\n") + 1
        place = found.end()
    yield _Token("the end of the file", "end", line, place - start_of_line + 1)


class _Reader:
    """Takes one token after the other."""

    def __init__(self, tokens: list[_Token]) -> None:
        self.tokens = tokens
        self.at = 0

    # -- tokens --------------------------------------------------------------------------------------------------

    @property
    def next(self) -> _Token:
        return self.tokens[self.at]

    def take(self) -> _Token:
        token = self.next
        if token.kind != "end":
            self.at += 1
        return token

    def sees(self, text: str) -> bool:
        return self.next.text == text and self.next.kind in ("mark", "word")

    def passes(self, text: str) -> bool:
        """Whether this comes next; it is then taken."""
        found = self.sees(text)
        self.at += found
        return found

    def expect(self, text: str, where: str) -> _Token:
        if not self.sees(text):
            raise self.wrong(f"`{text}` {where}")
        return self.take()

    def wrong(self, wanted: str, token: _Token | None = None) -> Unreadable:
        token = token or self.next
        found = token.text if token.kind == "end" else shown(token.text)
        return Unreadable(f"here should be {wanted}, not {found}", token.line, token.column)

    def name(self, what: str) -> str:
        if self.next.kind not in ("word", "quoted") or not self.next.text.strip():
            raise self.wrong(what)
        return self.take().text.strip()

    # -- the parts of a file -------------------------------------------------------------------------------------

    def network(self) -> Written:
        self.expect("network", "(a BIF file starts with `network NAME {`)")
        name = "" if self.sees("{") else self.name("the network's name")
        self.expect("{", "after the network's name")
        while not self.passes("}"):
            self.property("of the network, or `}`")
        written = Written(name, child_is_last=False)
        while self.next.kind != "end":
            if self.sees("variable"):
                written.variables.append(self.variable())
            elif self.sees("probability"):
                written.definitions.append(self.probability())
            else:
                raise self.wrong("`variable` or `probability`")
        return written

    def property(self, where: str) -> None:
        """Skip a property: whatever stands before its `;`, which cannot be a brace."""
        if not self.sees("property"):
            raise self.wrong(f"`property` {where}")
        start = self.take()
        while not self.passes(";"):
            if self.next.kind == "end" or self.sees("{") or self.sees("}"):
                raise self.wrong("`;` after the property", start if self.next.kind == "end" else None)
            self.take()

    def variable(self) -> Variable:
        line = self.take().line
        name = self.name("the variable's name")
        self.expect("{", f"after `variable {name}`")
        states: tuple[str, ...] | None = None
        while not self.passes("}"):
            if states is None and self.sees("type"):
                states = self.type()
            else:
                self.property("or `}`" if states else "or `type discrete`")
        if states is None:
            raise Unreadable(f"{shown(name)} has no `type discrete [n] {{ states }};`", line)
        return Variable(name, states, line)

    def type(self) -> tuple[str, ...]:
        self.take()
        self.expect("discrete", "(only discrete variables can be imported)")
        self.expect("[", "and the number of states")
        count = self.take()
        if not _CARDINAL.fullmatch(count.text):
            raise self.wrong("the number of states", count)
        self.expect("]", "after the number of states")
        start = self.expect("{", "before the states")
        items = self.items("}", "a state's name, or `}`")
        self.expect(";", "after the states")
        states = [word for item in items for word in item] if len(items) == 1 else [" ".join(item) for item in items]
        if len(states) != int(count.text):
            message = f"{len(states)} states are named here, and [ {count.text} ] are announced"
            raise Unreadable(message, start.line, start.column)
        return tuple(states)

    def items(self, end: str, what: str) -> list[list[str]]:
        """The words up to the closing mark, those between two commas together."""
        items: list[list[str]] = [[]]
        while not self.passes(end):
            if self.sees(",") and items[-1]:
                self.take()
                items.append([])
            else:
                items[-1].append(self.name(what))
        if not items[-1]:
            self.at -= 1
            raise self.wrong(what.partition(",")[0])
        return items

    def probability(self) -> Definition:
        line = self.take().line
        self.expect("(", "after `probability`")
        child = self.name("the name of the child")
        parents: list[str] = []
        if not self.passes(")"):
            if not self.passes("|"):
                self.passes(",")
            parents = [" ".join(item) for item in self.items(")", "a parent's name, or `)`")]
        self.expect("{", f"after `probability ( {child} ... )`")
        entries: list[Entry] = []
        default: Entry | None = None
        while not self.passes("}"):
            if self.sees("property"):
                self.property("")
            elif default is None and self.sees("default"):
                default = Entry(None, *self.numbers(self.take()))
            elif self.sees("table"):
                entries.append(Entry(None, *self.numbers(self.take())))
            elif self.sees("("):
                start = self.take()
                at = tuple(" ".join(item) for item in self.items(")", "a parent's state, or `)`"))
                entries.append(Entry(at, *self.numbers(start)))
            else:
                raise self.wrong("a row `(states) numbers;`, `table`, or `}`")
        return Definition(child, tuple(parents), tuple(entries), default, line)

    def numbers(self, start: _Token) -> tuple[tuple[float, ...], int]:
        """The numbers up to `;`, and the line they begin on."""
        numbers: list[float] = []
        while not self.passes(";"):
            if numbers and self.passes(","):
                pass
            if self.next.kind != "word" or not NUMBER.fullmatch(self.next.text):
                raise self.wrong("a number, or `;` after the last")
            numbers.append(float(self.take().text))
        return tuple(numbers), start.line
