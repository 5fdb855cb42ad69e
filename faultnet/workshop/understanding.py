"""From what somebody asks of a set, without a job, to a model, a case, how it stands and the shop's settings."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from faultnet.case import Case, parse_events
from faultnet.case.bench import bench_after_events
from faultnet.case.entry import nearest, parse_given
from faultnet.case.setup import parse_setup
from faultnet.engine.interface import ENGINES
from faultnet.errors import UsageProblem
from faultnet.files import load_model
from faultnet.model import Model
from faultnet.model.work import BenchState
from faultnet.settings import ShopSettings
from faultnet.shop import Shop, load_shop
from faultnet.shop.groups import in_own_group
from faultnet.shop.nominal import NominalTyped, known_nominal
from faultnet.workshop.place import known_versions, listed_voltages, usual_database


@dataclass(frozen=True)
class Asked:
    """What somebody asks about. trained: None where the shop's settings decide; at: how the set stands, as typed."""

    model: str
    events: Sequence[str]
    given: Sequence[str]
    at: str
    inches: float | None
    nominal: NominalTyped
    shop_file: str
    database: str
    trained: bool | None
    with_complaint: bool
    engine: str = "auto"


@dataclass(frozen=True)
class Understood:
    """What was understood of it. notes: what to know beside the answer."""

    model: Model
    case: Case
    bench: BenchState
    settings: ShopSettings
    notes: tuple[str, ...] = ()


def understand(asked: Asked) -> Understood:
    """What was asked, understood. UsageProblem lists everything that cannot be."""
    shop = load_shop(asked.shop_file)
    model = with_engine(
        load_model(asked.model, versions=known_versions(asked.database or usual_database(shop))), asked.engine
    )
    if asked.at and not model.setups:
        raise UsageProblem(f"--at {asked.at}: {model.id} says nothing of set-ups; leave it out")
    case = Case(meter=shop.meter, meters=shop.meters, inches=asked.inches, with_complaint=asked.with_complaint)
    case, told, notes = _case_and_bench(model, case, asked, shop)
    facts = {"panel": asked.nominal.panel, "board": asked.nominal.board}
    facts |= {} if asked.inches is None else {"size": f"{asked.inches:g}"}
    model = in_own_group(model, facts, shop.panel_groups)
    bench = bench_after_events(model, case).after(**told)
    return Understood(model, case, bench, shop.settings_for(asked.trained), (*filter(None, [model.notice]), *notes))


def _case_and_bench(model: Model, case: Case, asked: Asked, shop: Shop) -> tuple[Case, dict[str, str], tuple[str, ...]]:
    """The case with all that was typed, how the set stands, and notes. UsageProblem lists all slips."""
    problems: list[str] = []
    told, notes = dict[str, str](), tuple[str, ...]()
    try:
        known = known_nominal(asked.nominal, lambda: listed_voltages(shop, asked.database))
        case = replace(case, nominal=known.nominal)
        notes = known.notes
    except UsageProblem as error:
        problems.extend(error.problems)
    try:
        case = case.after(*parse_events(model, asked.events, case.meters))
    except UsageProblem as error:
        problems.extend(error.problems)
    try:
        case = case.with_given(parse_given(model, asked.given))
    except UsageProblem as error:
        problems.extend(error.problems)
    try:
        told = parse_setup(asked.at)
    except UsageProblem as error:
        problems.extend(error.problems)
    if problems:
        raise UsageProblem(*problems)
    return case, told, notes


def with_engine(model: Model, kind: str) -> Model:
    """The model with this exact engine. UsageProblem: no such engine."""
    if kind not in ENGINES:
        raise UsageProblem(f"--engine {kind}: an engine is one of {', '.join(ENGINES)}{nearest(kind, ENGINES)}")
    return replace(model, engine=kind)
