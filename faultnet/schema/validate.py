"""From the plain data of a model file to a checked, completed document."""

from collections.abc import Mapping, Sequence
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import BaseModel, Field, TypeAdapter, ValidationError

from faultnet.model.document import Document
from faultnet.schema import shapes, work_shapes
from faultnet.schema.basic import Id, Shape, Text
from faultnet.schema.checks import find_problems
from faultnet.schema.network_shape import NetworkNodeShape
from faultnet.schema.parts import Finding, Parts, Path, did_you_mean, shortened, unknown

_HEAD: Mapping[str, tuple[Any, bool]] = {
    "id": (Id, True),
    "title": (Text, True),
    "about": (Text, False),
    "complaint": (shapes.ComplaintShape, False),
    "confirmed_by": (dict[Id, Id], False),
    "second_fault_share": (Annotated[float, Field(gt=0, lt=0.5)], False),
    "strength": (shapes.StrengthShape, True),
    "nominal": (shapes.NominalShape, False),
    "cautions": (dict[Id, Text], False),
    "continue_with": (shapes.OnwardShape, False),
    "compare_with": (shapes.ComparisonShape, False),
}
_DEFAULTS: Mapping[str, Any] = {
    "about": "",
    "complaint": None,
    "confirmed_by": {},
    "second_fault_share": 0.05,
    "nominal": None,
    "cautions": {},
    "continue_with": None,
    "compare_with": None,
}
_MAPS: Mapping[str, type[Shape]] = {
    "components": shapes.ComponentShape,
    "groups": shapes.GroupShape,
    "conditions": shapes.ConditionShape,
    "rails": shapes.RailShape,
    "observations": shapes.ObservationShape,
    "tests": work_shapes.BenchTestShape,
    "repairs": work_shapes.RepairShape,
    "refuse": shapes.RefusalShape,
    "network": NetworkNodeShape,
}
_LISTS: Mapping[str, type[Shape]] = {"collateral": shapes.CollateralShape, "setups": work_shapes.SetupShape}
_REQUIRED = ("components", "observations", "tests", "setups")
_BESIDE_A_NETWORK = ("id", "title", "about", "network", "tests", "setups", "cautions")
"""All that goes with an imported network; the rest would need shares and rules, which it has none of."""


def validate(data: Any) -> tuple[Document, list[Finding]]:
    """The completed document and everything wrong with it; the document is whole only when nothing is wrong."""
    if not isinstance(data, dict):
        return {}, [((), "a model file is a mapping that starts with `id:`")]
    is_imported = "network" in data
    parts, found = Parts(is_imported), [*_unknown_sections(data), *_beside_a_network(data)]
    for key, (shape, required) in _HEAD.items():
        if key in data:
            parts.head[key] = _checked(shape, data[key], (key,), found)
        elif required and not (is_imported and key not in _BESIDE_A_NETWORK):
            found.append(((), f"`{key}` is missing"))
        else:
            parts.head[key] = _DEFAULTS.get(key)
    for section in ("network", "tests") if is_imported else _REQUIRED:
        if not data.get(section):
            found.append(((), f"`{section}` is missing or empty"))
    for section, item_shape in _MAPS.items():
        if section == "network" and not is_imported:
            continue
        _collect(parts, section, item_shape, data.get(section, {}), dict, found)
    for section, item_shape in _LISTS.items():
        _collect(parts, section, item_shape, data.get(section, []), list, found)
    if "nominal" not in data and any(seen.reading for seen in parts.observations.values()):
        found.append(((), "`nominal` is missing; readings in volts are judged against it"))
    cautions = data.get("cautions")
    parts.ids["cautions"] = list(cautions) if isinstance(cautions, dict) else []
    found.extend(find_problems(parts))
    return _document(parts), found


def _unknown_sections(data: Mapping[Any, Any]) -> list[Finding]:
    known = [*_HEAD, *_MAPS, *_LISTS]
    return [((str(key),), unknown("section", str(key), known)) for key in data if key not in known]


def _beside_a_network(data: Mapping[Any, Any]) -> list[Finding]:
    known = [*_HEAD, *_MAPS, *_LISTS]
    if "network" not in data:
        return []
    return [
        ((str(key),), f"does not go with `network`, whose numbers are used as they are; take {key} out")
        for key in data
        if key in known and key not in _BESIDE_A_NETWORK
    ]


def _collect(parts: Parts, section: str, shape: type[Shape], data: Any, kind: type[Any], found: list[Finding]) -> None:
    if not isinstance(data, kind):
        found.append(((section,), f"must be a {'mapping of ids' if kind is dict else 'list'}"))
        return
    items = list(data.items() if isinstance(data, dict) else enumerate(data))
    parts.ids[section] = [str(key) for key, _ in items]
    if isinstance(data, dict):
        _checked(dict[Id, Any], data, (section,), found)
    for key, item in items:
        good = _checked(shape, item, (section, key), found)
        if good is not None:
            getattr(parts, section)[key] = good


def _checked(shape: Any, value: Any, path: Path, found: list[Finding]) -> Any:
    """The value in its shape, or None with all its problems added to those found."""
    try:
        return TypeAdapter(shape).validate_python(value, strict=True)
    except ValidationError as error:
        for problem in error.errors(include_url=False):
            place = tuple(part for part in problem["loc"] if part != "[key]")
            found.append(((*path, *place), _message(problem, shape)))
        return None


def _message(problem: Any, shape: Any) -> str:
    kind, given = problem["type"], problem.get("input")
    told, context = _told(given), problem.get("ctx", {})
    match kind:
        case "missing":
            return "is missing"
        case "extra_forbidden":
            *above, key = problem["loc"]
            nearest = did_you_mean(str(key), _keys_at(shape, above))
            return f"is not known here{nearest or '; take it out, or look for a slip in the name'}"
        case "string_pattern_mismatch" if "practice" in context["pattern"]:
            return f"a mark is `practice`, `reasoned` or `published: SOURCE`{told}"
        case "string_pattern_mismatch":
            return f"must look like {context['pattern']} (small letters, digits, _){told}"
        case "string_type":
            quotes = "; put quotes around it" if isinstance(given, bool | int | float) else ""
            return f"must be text{told}{quotes}"
        case "model_type" | "dict_type":
            return f"must be a mapping{told}"
        case "list_type":
            return f"must be a list{told}"
        case "finite_number":
            return f"must be a number{told}"
        case "value_error":
            return str(context["error"])
    return f"{problem['msg'].removeprefix('Input ')}{told}".replace("should be", "must be").replace("should", "must")


def _told(given: Any) -> str:
    """What was written instead, in the words of the file."""
    match given:
        case None:
            return ", and nothing is written here"
        case bool():
            return f", not {str(given).lower()}"
        case dict() | list():
            return ""
    return f", not {shortened(repr(given))}"


def _keys_at(shape: Any, loc: Sequence[str | int]) -> list[str]:
    """The keys that a mapping at this place of a shape may have."""
    for part in loc:
        fields = _fields(shape)
        shape = fields.get(str(part)) if fields else (get_args(_bare(shape)) or (None,))[-1]
    return list(_fields(shape))


def _fields(shape: Any) -> dict[str, Any]:
    bare = _bare(shape)
    if not (isinstance(bare, type) and issubclass(bare, BaseModel)):
        return {}
    return {field.alias or name: field.annotation for name, field in bare.model_fields.items()}


def _bare(shape: Any) -> Any:
    """The shape without its constraints, and without "or nothing"."""
    while get_origin(shape) in (Annotated, Union, UnionType):
        shape = get_args(shape)[0]
    return shape


def _document(parts: Parts) -> Document:
    document: dict[str, Any] = {k: _plain(v) for k, v in parts.head.items()}
    for section in _MAPS:
        document[section] = {key: _plain(shape) for key, shape in getattr(parts, section).items()}
    for section in _LISTS:
        document[section] = [_plain(shape) for _, shape in sorted(getattr(parts, section).items())]
    return document


def _plain(value: Any) -> Any:
    return value.model_dump(by_alias=True) if isinstance(value, BaseModel) else value
