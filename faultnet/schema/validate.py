"""From the plain data of a model file to a checked, completed document."""

from collections.abc import Callable, Mapping
from typing import Annotated, Any

from pydantic import BaseModel, TypeAdapter, ValidationError

from faultnet.model.document import Document
from faultnet.schema import shapes
from faultnet.schema.checks import Finding, Parts, Path, find_problems, unknown

_HEAD: Mapping[str, tuple[Any, bool]] = {
    "id": (shapes.Id, True),
    "title": (shapes.Text, True),
    "about": (shapes.Text, False),
    "complaint": (shapes.ComplaintShape, True),
    "confirmed_by": (dict[shapes.Id, shapes.Id], False),
    "second_fault_share": (Annotated[float, shapes.Field(gt=0, lt=0.5)], False),
    "strength": (shapes.StrengthShape, True),
    "nominal": (shapes.NominalShape, True),
    "cautions": (dict[shapes.Id, shapes.Text], False),
}
_DEFAULTS: Mapping[str, Any] = {"about": "", "confirmed_by": {}, "second_fault_share": 0.05, "cautions": {}}
_MAPS: Mapping[str, type[shapes.Shape]] = {
    "components": shapes.ComponentShape,
    "groups": shapes.GroupShape,
    "conditions": shapes.ConditionShape,
    "rails": shapes.RailShape,
    "observations": shapes.ObservationShape,
    "tests": shapes.BenchTestShape,
    "repairs": shapes.RepairShape,
}
_LISTS: Mapping[str, type[shapes.Shape]] = {"collateral": shapes.CollateralShape, "setups": shapes.SetupShape}
_REQUIRED = ("components", "observations", "tests", "setups")


def validate(data: Any) -> tuple[Document, list[Finding]]:
    """The completed document and everything wrong with it; the document is whole only when nothing is wrong."""
    if not isinstance(data, dict):
        return {}, [((), "a model file is a mapping that starts with `id:`")]
    parts, found = Parts(), list(_unknown_sections(data))
    for key, (shape, required) in _HEAD.items():
        if key in data:
            parts.head[key] = _checked(TypeAdapter(shape).validate_python, data[key], (key,), found, strict=True)
        elif required:
            found.append(((), f"`{key}` is missing"))
        else:
            parts.head[key] = _DEFAULTS[key]
    for section in _REQUIRED:
        if not data.get(section):
            found.append(((), f"`{section}` is missing or empty"))
    for section, item_shape in _MAPS.items():
        _collect(parts, section, item_shape, data.get(section, {}), dict, found)
    for section, item_shape in _LISTS.items():
        _collect(parts, section, item_shape, data.get(section, []), list, found)
    cautions = data.get("cautions")
    parts.ids["cautions"] = list(cautions) if isinstance(cautions, dict) else []
    found.extend(find_problems(parts))
    return _document(parts), found


def _unknown_sections(data: Mapping[Any, Any]) -> list[Finding]:
    known = [*_HEAD, *_MAPS, *_LISTS]
    return [((str(key),), unknown("section", str(key), known)) for key in data if key not in known]


def _collect(
    parts: Parts, section: str, shape: type[shapes.Shape], data: Any, kind: type[Any], found: list[Finding]
) -> None:
    if not isinstance(data, kind):
        found.append(((section,), f"must be a {'mapping of ids' if kind is dict else 'list'}"))
        return
    items = data.items() if isinstance(data, dict) else enumerate(data)
    parts.ids[section] = [str(key) for key, _ in items]
    id_check = TypeAdapter(shapes.Id).validate_python
    for key, item in data.items() if isinstance(data, dict) else enumerate(data):
        if kind is dict and _checked(id_check, key, (section, key), found) is None:
            continue
        good = _checked(shape.model_validate, item, (section, key), found)
        if good is not None:
            getattr(parts, section)[key] = good


def _checked(check: Callable[..., Any], value: Any, path: Path, found: list[Finding], **how: Any) -> Any:
    try:
        return check(value, **how)
    except ValidationError as error:
        for problem in error.errors(include_url=False):
            place = tuple(p for p in problem["loc"] if p != "[key]")
            found.append(((*path, *place), _message(problem)))
        return None


def _message(problem: Any) -> str:
    kind, given = problem["type"], problem.get("input")
    told = f", not {given!r}" if isinstance(given, str | int | float) else ""
    context = problem.get("ctx", {})
    match kind:
        case "missing":
            return "is missing"
        case "extra_forbidden":
            return "is not known here; take it out, or look for a slip in the name"
        case "string_pattern_mismatch" if "practice" in context["pattern"]:
            return f"a mark is `practice`, `reasoned` or `published: SOURCE`{told}"
        case "string_pattern_mismatch":
            return f"must look like {context['pattern']} (small letters, digits, _){told}"
        case "string_type":
            return f"must be text{told}; put quotes around it"
        case "finite_number":
            return f"must be a number, not {given}"
        case "value_error":
            return str(context["error"])
    return f"{problem['msg'].removeprefix('Input ')}{told}".replace("should be", "must be")


def _document(parts: Parts) -> Document:
    document: dict[str, Any] = {k: _plain(v) for k, v in parts.head.items()}
    for section in _MAPS:
        document[section] = {key: _plain(shape) for key, shape in getattr(parts, section).items()}
    for section in _LISTS:
        document[section] = [_plain(shape) for _, shape in sorted(getattr(parts, section).items())]
    return document


def _plain(value: Any) -> Any:
    return value.model_dump(by_alias=True) if isinstance(value, BaseModel) else value
