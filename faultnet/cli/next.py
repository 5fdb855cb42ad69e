"""`faultnet next`: from typed events to an answer."""

import json
from collections.abc import Sequence
from dataclasses import replace

from faultnet.case import Case, parse_events
from faultnet.case.bench import bench_after_events
from faultnet.case.entry import nearest, parse_given
from faultnet.cli.as_json import answer_json
from faultnet.cli.as_text import answer_text
from faultnet.cli.nominal import NominalTyped, known_nominal
from faultnet.diagnosis import BetterFit, better_fit, diagnose, translated
from faultnet.engine.interface import ENGINES
from faultnet.errors import UsageProblem
from faultnet.files import load_model
from faultnet.model import Model
from faultnet.model.work import SETUP_PARTS
from faultnet.ranking import rank_tests
from faultnet.settings import ShopSettings
from faultnet.shop import Shop, load_shop


def answer_next(
    name: str,
    events: Sequence[str],
    *,
    given: Sequence[str],
    at: str,
    inches: float | None,
    nominal: NominalTyped,
    shop_file: str,
    trained: bool | None,
    with_complaint: bool,
    engine: str,
    full: bool,
    as_json: bool,
) -> None:
    """Print where the set stands and what to do next. trained: None where the shop's settings decide."""
    shop = load_shop(shop_file)
    model = with_engine(load_model(name), engine)
    if at and not model.setups:
        raise UsageProblem(f"--at {at}: {model.id} says nothing of set-ups; leave it out")
    case = Case(meter=shop.meter, meters=shop.meters, inches=inches, with_complaint=with_complaint)
    case, told = _understood(model, case, events, given, at, nominal, shop)
    bench = bench_after_events(model, case).after(**told)
    ranking = rank_tests(model, case, bench, _settings(shop, trained))
    diagnosis, fits = diagnose(model, case), fits_better(model, case)
    if as_json:
        print(json.dumps(answer_json(model, case, diagnosis, ranking, fits), indent=2, allow_nan=False))
    else:
        print(answer_text(model, case, diagnosis, ranking, full=full, fits_better=fits))


def _settings(shop: Shop, trained: bool | None) -> ShopSettings:
    """The shop's settings; what is typed about training goes before what they say."""
    return shop.settings if trained is None else replace(shop.settings, trained=trained)


def fits_better(model: Model, case: Case) -> BetterFit | None:
    """The complaint that the findings fit better than the model's own, or None.

    The model that knows is loaded only when there is a finding to ask it about.
    """
    events = translated(model, case)
    if model.comparison is None or not events:
        return None
    return better_fit(model, load_model(model.comparison.model), events)


def _understood(
    model: Model,
    case: Case,
    events: Sequence[str],
    given: Sequence[str],
    at: str,
    nominal: NominalTyped,
    shop: Shop,
) -> tuple[Case, dict[str, str]]:
    """The case with all that was typed, and how the set stands. UsageProblem lists all slips."""
    problems: list[str] = []
    told = dict[str, str]()
    try:
        case = replace(case, nominal=known_nominal(nominal, shop))
    except UsageProblem as error:
        problems.extend(error.problems)
    try:
        case = case.after(*parse_events(model, events, case.meters))
    except UsageProblem as error:
        problems.extend(error.problems)
    try:
        case = case.with_given(parse_given(model, given))
    except UsageProblem as error:
        problems.extend(error.problems)
    try:
        told = parse_setup(at)
    except UsageProblem as error:
        problems.extend(error.problems)
    if problems:
        raise UsageProblem(*problems)
    return case, told


def with_engine(model: Model, kind: str) -> Model:
    """The model with this exact engine. UsageProblem: no such engine."""
    if kind not in ENGINES:
        raise UsageProblem(f"--engine {kind}: an engine is one of {', '.join(ENGINES)}{nearest(kind, ENGINES)}")
    return replace(model, engine=kind)


def parse_setup(text: str) -> dict[str, str]:
    """How parts of the set stand, from `cover=off,mains=off`. UsageProblem lists all slips."""
    told: dict[str, str] = {}
    problems: list[str] = []
    for item in filter(None, map(str.strip, text.split(","))):
        part, _, state = (piece.strip().lower() for piece in item.partition("="))
        if part not in SETUP_PARTS:
            problems.append(
                f"--at {item}: unknown part {part}; parts are {', '.join(SETUP_PARTS)}{nearest(part, SETUP_PARTS)}"
            )
        elif state not in SETUP_PARTS[part]:
            problems.append(f"--at {item}: write {part}=STATE; the states are {', '.join(SETUP_PARTS[part])}")
        else:
            told[part] = state
    if problems:
        raise UsageProblem(*problems)
    return told
