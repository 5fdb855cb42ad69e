"""What an invented shop is like: who works there, what comes in, what gets written down. All of it is made up."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from faultnet.jobs.codes import code_key


@dataclass(frozen=True)
class PanelGroup:
    """Sets with the same kind of panel. codes: of its panels; boards: of its driver and supply boards; strips: of its
    LED strips. share: of the jobs; volts: nominal; inches, years: about how large and how old; odds: factors on failure
    modes against the model's own. leds, strips_fitted: of one strip, and how many.
    """

    name: str
    codes: tuple[str, ...]
    boards: tuple[str, ...]
    strips: str
    share: float
    volts: float
    inches: float
    years: float
    leds: int
    n_strips: int
    odds: Mapping[str, float] = field(default_factory=dict)


GROUPS = (
    PanelGroup("marten", ("MRT-32A", "MRT-32B"), ("LBX-110",), "ST-32M", 0.22, 37.0, 32, 6, 6, 2, {"strips.open": 1.5}),
    PanelGroup("heron", ("HRN-43", "HRN-43C"), ("LBX-220", "LBX-221"), "ST-43H", 0.27, 54.0, 43, 5, 9, 6),
    PanelGroup(
        "otter",
        ("OTR-50", "OTR-50K"),
        ("LBX-220", "LBX-350"),
        "ST-50T",
        0.20,
        112.0,
        50,
        4,
        12,
        6,
        {"driver.dead": 2.5, "driver.dead_loads_feed": 2.5, "strips.open": 0.6},
    ),
    PanelGroup(
        "lynx", ("LNX-55", "LNX-55Q"), ("LBX-350",), "ST-55L", 0.17, 93.0, 55, 4, 10, 6, {"strips.shorted": 3.0}
    ),
    PanelGroup("wren", ("WRN-65",), ("LBX-480",), "ST-65W", 0.09, 74.0, 65, 3, 8, 12, {"supply.feed_missing": 2.0}),
    PanelGroup("finch", ("FCH-75", "FCH-75D"), ("LBX-480", "LBX-490"), "ST-75F", 0.05, 149.0, 75, 3, 12, 16),
)
"""The panel groups of the invented shop; no maker's codes."""


def is_invented(n_by_code: Mapping[str, int]) -> bool:
    """Whether most jobs with a panel code, of which there are some, have codes of the invented shop's panels.

    n_by_code: the jobs of each code, "" for none. Nobody else's panels have these codes.
    """
    own = {code_key(code) for group in GROUPS for code in group.codes}
    named = {code: n for code, n in n_by_code.items() if code_key(code)}
    invented = sum(n for code, n in named.items() if code_key(code) in own)
    return 2 * invented > sum(named.values())


@dataclass(frozen=True)
class World:
    """The invented shop. Chances are per job or per test; every one is made up.

    first, months: the time that is covered. habits: how the people there pick tests, by share: a fixed
    order, whatever is quickest, what faultnet would advise. convinced: how sure of a
    part they want to be before they replace it, drawn between the two, after how few tests at the earliest. skips: a
    test that would be next is not made;
    unwritten: a normal result is not written down; as_state: volts are written as a state in words; together: a second
    part is replaced along with the first. sometimes: the set fails only at times, and then shows it with this chance.
    declines, verifies: what customers and people say. drift: factors on failure modes from the first month to the last.
    comes_back_anyway: a set that was repaired well comes back with something else within the watch.
    """

    first: date = date(2028, 1, 3)
    months: int = 36
    groups: tuple[PanelGroup, ...] = GROUPS
    habits: Mapping[str, float] = field(default_factory=lambda: {"flow_chart": 0.4, "cheapest": 0.35, "advised": 0.25})
    convinced: tuple[float, float] = (0.6, 0.9)
    fewest_tests: int = 3
    most_tests: int = 9
    skips: float = 0.08
    unwritten: float = 0.3
    as_state: float = 0.25
    together: float = 0.10
    sometimes: float = 0.10
    shows: float = 0.5
    declines: float = 0.10
    no_part: float = 0.03
    noted_wrong: float = 0.01
    verifications: Mapping[str, float] = field(
        default_factory=lambda: {
            "part_tested": 0.15,
            "proved_by_swap": 0.15,
            "symptom_cleared": 0.50,
            "not_verified": 0.20,
        }
    )
    drift: Mapping[str, float] = field(default_factory=lambda: {"strips.shorted": 2.0, "driver.dead": 0.6})
    comes_back_anyway: float = 0.02
    currency: str = "EUR"
    staff: tuple[str, ...] = ("k1", "k2", "k3")
