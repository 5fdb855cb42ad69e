"""The shop's settings: what each is and means, changed one group at a time; and what only the terminal changes."""

from collections.abc import Mapping, Sequence
from urllib.parse import quote

from fastapi import APIRouter
from starlette.responses import Response

from faultnet.errors import UsageProblem
from faultnet.shop.edit import Change
from faultnet.shop.find import SETTINGS_FILE, usual_settings_file
from faultnet.telling.settings import database_words
from faultnet.web.answering import go_to, page
from faultnet.web.shown.settings import TRAINED, Group, changes_of, groups_of, own_meter, panel_group
from faultnet.web.visit import Form, Sent, Visit, Visiting
from faultnet.workshop.setting import change

router = APIRouter()

READ = "read"
NOTHING = "nothing was changed"

SURE_FIRST = "say that whoever works at this bench is trained for powered steps, or leave it as it is"
NAME_IT = "give it a name of small letters, digits and _, such as tall_one"


@router.get("/settings")
def shown(visit: Visiting) -> Response:
    """Every setting with its value, and where it comes from."""
    shop = visit.workshop.shop
    return page(
        visit,
        "settings.html",
        groups=tuple(groups_of(shop)),
        is_trained=shop.settings.trained,
        file=shop.file,
        usual_file=usual_settings_file() or SETTINGS_FILE,
        database=database_words(shop),
        changed=_named(visit, visit.query.get("changed", "")),
    )


@router.get("/settings/training")
def training(visit: Visiting) -> Response:
    """Whether powered steps are advised."""
    return _training(visit, ())


@router.post("/settings/training")
def trained(visit: Visiting, form: Sent) -> Response:
    """Mark the bench as trained, or as not."""
    wanted = form.text("trained") == "true"
    if wanted and form.text(READ) != "yes":
        return _training(visit, (SURE_FIRST,))
    _, changed = change(visit.house.shop_file, [Change(TRAINED, "true" if wanted else "false")])
    return go_to("/settings", changed=",".join(changed.keys))


@router.get("/settings/new/{kind}")
def new(kind: str, visit: Visiting) -> Response:
    """A new meter, or panel group."""
    return _new(visit, kind, Form(), ())


@router.post("/settings/new/{kind}")
def made(kind: str, visit: Visiting, form: Sent) -> Response:
    """Make it."""
    name = form.text("name").lower().replace("-", "_").replace(" ", "_")
    key = {"meter": f"meters.{name}.class", "panel_group": f"panel_groups.{name}"}.get(kind, "")
    shop = visit.workshop.shop
    try:
        if not name.isidentifier():
            raise UsageProblem(NAME_IT)
        if name in (*shop.meters, *shop.panel_groups.codes):
            raise UsageProblem(f"{name} is there already; change that one, or name this one otherwise")
        if not form.text("value"):
            raise UsageProblem("say what it is")
        change(visit.house.shop_file, [Change(key, form.text("value"))])
    except UsageProblem as error:
        return _new(visit, kind, form, _told(error, {key: "what it is"}))
    return go_to(f"/settings/{quote(key.removesuffix('.class'))}")


@router.get("/settings/{group}")
def one(group: str, visit: Visiting) -> Response:
    """The settings of a group, to be changed."""
    return _asked(visit, _group(visit, group), Form(), ())


@router.post("/settings/{group}")
def changed(group: str, visit: Visiting, form: Sent) -> Response:
    """Change them, all or none."""
    found = _group(visit, group)
    keys = [field.key for field in found.fields]
    typed = {key: form.text(key) for key in keys if key in form.texts}
    was = {key: form.text(f"was.{key}") for key in keys if f"was.{key}" in form.texts}
    if form.text("press") == "remove" and found.is_own:
        changes: Sequence[Change] = [Change(field.key, None) for field in found.fields if field.value]
    else:
        changes = changes_of(found, typed, was, comma=visit.workshop.shop.settings.decimal_comma)
    try:
        if not changes:
            raise UsageProblem("nothing is different from before")
        change(visit.house.shop_file, changes)
    except UsageProblem as error:
        return _asked(visit, found, form, _told(error, {field.key: field.label for field in found.fields}))
    return go_to("/settings", changed=",".join(each.key for each in changes))


def _group(visit: Visit, name: str) -> Group:
    """UsageProblem: there is no such group, or no more."""
    found = next((group for group in groups_of(visit.workshop.shop) if group.name == name), None)
    if found is None:
        raise UsageProblem(f"there are no settings named {name[:60]}; look at the settings again")
    return found


def _asked(visit: Visit, group: Group, form: Form, problems: Sequence[str]) -> Response:
    return page(visit, "setting.html", problems=problems, group=group, typed=form.texts, text=form.text)


def _training(visit: Visit, problems: Sequence[str]) -> Response:
    return page(visit, "training.html", problems=problems, is_trained=visit.workshop.shop.settings.trained)


def _new(visit: Visit, kind: str, form: Form, problems: Sequence[str]) -> Response:
    makes = {"meter": own_meter, "panel_group": panel_group}.get(kind)
    if makes is None:
        raise UsageProblem(f"there is no new {kind[:60]}; look at the settings again")
    group = makes(visit.workshop.shop, "new")
    return page(
        visit,
        "new_setting.html",
        problems=problems,
        kind=kind,
        field=group.fields[0],
        about=group.about,
        typed=form.text,
    )


def _told(error: UsageProblem, labels: Mapping[str, str]) -> tuple[str, ...]:
    """What is wrong, by what the fields are called on the page."""
    return tuple(_by_label(problem, labels) for problem in error.problems if problem != NOTHING)


def _by_label(problem: str, labels: Mapping[str, str]) -> str:
    key, colon, said = problem.partition(": ")
    return f"{labels[key]}{colon}{said}" if key in labels else problem


def _named(visit: Visit, keys: str) -> tuple[tuple[str, str], ...]:
    """Settings that were changed just now, each with its value."""
    wanted = set(keys.split(","))
    fields = [field for group in groups_of(visit.workshop.shop) for field in group.fields]
    told = [(field.label, field.told) for field in fields if field.key in wanted]
    is_trained = visit.workshop.shop.settings.trained
    return (*told, *((("This bench", "trained" if is_trained else "not trained"),) if TRAINED in wanted else ()))
