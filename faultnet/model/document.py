"""A model from its document: plain dicts and lists that the schema has checked and completed.

The document is what the cache keeps, so this road needs no validation and nothing outside the standard library.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from faultnet.model.imported import with_network
from faultnet.model.model import Model, Strength
from faultnet.model.neighbours import Comparison, Continuation, Onward, Refusal, Translation
from faultnet.model.nodes import (
    Clause,
    Collateral,
    Component,
    Condition,
    Effect,
    Group,
    Mode,
    ModeId,
    Noisy,
    Observation,
    Rail,
    Row,
    When,
)
from faultnet.model.volts import USUAL_CHANNELS, Level, NominalRange, Pattern, Piece, ReadingModel
from faultnet.model.work import Alteration, BenchTest, Caution, Repair, SetupChange

Document = Mapping[str, Any]


def model_from_document(document: Document, version: str) -> Model:
    """The model of a checked document; `root_odds` in it, if there, spares solving the priors."""
    stated = document["strength"] or {"shares": 0.0, "rows": 0.0}
    strength = Strength(stated["shares"], stated["rows"])
    cautions = {id_: Caution(id_, text) for id_, text in document["cautions"].items()}
    odds = document.get("root_odds")
    complaint = document["complaint"] or {"observation": "", "state": ""}
    model = Model(
        id=document["id"],
        title=document["title"],
        about=document["about"],
        version=version,
        complaint=complaint["observation"],
        complaint_state=complaint["state"],
        confirmed_by=dict(document["confirmed_by"]),
        second_fault_share=document["second_fault_share"],
        strength=strength,
        components={id_: _component(id_, c) for id_, c in document["components"].items()},
        groups={id_: Group(id_, g["label"], tuple(g["of"])) for id_, g in document["groups"].items()},
        conditions={id_: _condition(id_, c, strength) for id_, c in document["conditions"].items()},
        collateral=tuple(_collateral(c, strength) for c in document["collateral"]),
        rails={id_: _rail(id_, r) for id_, r in document["rails"].items()},
        observations={id_: _observation(id_, o, strength) for id_, o in document["observations"].items()},
        nominal=None if document["nominal"] is None else _nominal(document["nominal"]),
        tests={id_: _test(id_, t, cautions) for id_, t in document["tests"].items()},
        repairs={id_: _repair(id_, r, cautions) for id_, r in document["repairs"].items()},
        setups={(c.part, c.state): c for c in (_setup(s, cautions) for s in document["setups"])},
        root_odds=None if odds is None else tuple(odds),
        refusals={id_: _refusal(id_, r) for id_, r in document["refuse"].items()},
        onward=None if document["continue_with"] is None else _onward(document["continue_with"]),
        comparison=None if document["compare_with"] is None else _comparison(document["compare_with"]),
    )
    return with_network(model, document["network"]) if document["network"] else model


def _component(id_: str, c: Document) -> Component:
    modes = tuple(Mode(m, d["label"], d["share"], d["mark"]) for m, d in c["modes"].items())
    return Component(id_, c["label"], c["short"] or id_, tuple(c["also"]), modes)


def _condition(id_: str, c: Document, strength: Strength) -> Condition:
    odds = {state: {ModeId.parse(m): f for m, f in factors.items()} for state, factors in c["odds"].items()}
    return Condition(
        id=id_,
        label=c["label"],
        states=tuple(c["states"]),
        state_labels=dict(c["labels"]),
        shares=tuple(c["shares"]),
        strength_jobs=c["strength"] or strength.shares_jobs,
        odds=odds,
        is_asked=c["asked"],
        age_from_years=tuple(c["age_from_years"] or ()),
        after_repair=c["after_repair"] or "",
        mark=c["mark"],
    )


def _collateral(c: Document, strength: Strength) -> Collateral:
    cause, effect = ModeId.parse(c["cause"]), ModeId.parse(c["effect"])
    return Collateral(cause, effect, c["chance"], c["strength"] or strength.rows_jobs, c["mark"])


def _when(written: Document) -> When:
    return {node: tuple(states) for node, states in written.items()}


def _rail(id_: str, r: Document) -> Rail:
    rule = tuple(Clause(_when(c["when"]), c["is"]) for c in r["rule"])
    return Rail(id_, r["label"], tuple(r["states"]), tuple(r["given"]), rule)


def _observation(id_: str, o: Document, strength: Strength) -> Observation:
    usual = o["strength"] or strength.rows_jobs
    table = tuple(
        Row(_when(r["when"]), tuple(r["p"]), r["strength"] or usual, r["mark"] or o["mark"]) for r in o["table"] or ()
    )
    noisy = _noisy(o, usual)
    causes = o["given"] if noisy is None else dict.fromkeys(effect.cause for effect in noisy.effects)
    return Observation(
        id=id_,
        label=o["label"],
        short=o["short"] or id_,
        also=tuple(o["also"]),
        states=tuple(o["states"]),
        state_labels=dict(o["labels"]),
        given=tuple(causes),
        table=table,
        noisy=noisy,
        reading=None if o["reading"] is None else _reading(o["reading"]),
        repeats_independently=o["repeat"] == "independent",
        needs_symptom=o["needs_symptom"],
        no_power_after=tuple(o["no_power_after"]),
    )


def _noisy(o: Document, usual: float) -> Noisy | None:
    """The noisy form of an observation; a noisy-OR as a noisy-MAX of two states."""
    form = o["noisy_or"] or o["noisy_max"]
    if form is None:
        return None
    order, leak, listed = form.get("order"), form["leak"], form.get("effects")
    if o["noisy_or"]:
        absent, present = sorted(o["states"], key=lambda state: state == form["present"])
        order = (absent, present)
        leak = _two_states(o["states"], present, leak)
        listed = [{**link, "p": _two_states(o["states"], present, link["chance"])} for link in form["links"]]

    effects = tuple(
        Effect(e["cause"], tuple(e["when"]), tuple(e["p"]), e["strength"] or usual, e["mark"] or o["mark"])
        for e in listed
    )
    return Noisy(tuple(order), Effect("", (), tuple(leak), usual, o["mark"]), effects, form["asked_with_leak"])


def _two_states(states: Sequence[str], present: str, chance: float) -> list[float]:
    return [chance if state == present else 1 - chance for state in states]


def _reading(r: Document) -> ReadingModel:
    usual = {state: _levels(levels) for state, levels in r["levels"].items()}
    settled = {state: _levels(levels) for state, levels in r["settled"].items()}
    return ReadingModel(
        unit=r["unit"],
        given=tuple(r["given"]),
        default_hold=r["hold"],
        levels={r["hold"]: usual, "settled": {**usual, **settled}},
        outlier_share=r["outliers"]["share"],
        up_to_volts=r["outliers"]["up_to_volts"],
        mark=r["mark"],
        start_pulse=dict(r["start_pulse"]),
        patterns={state: _pattern(p) for state, p in r["patterns"].items()},
        channel_sd=r["channel_sd"] or 0.0,
        usual_channels=r["usual_channels"] or USUAL_CHANNELS,
    )


def _pattern(p: Document) -> Pattern:
    return Pattern(p["rest"], tuple(p["odd"] or ()), *(p["count"] or (0, 0)))


def _levels(levels: list[Document]) -> tuple[Level, ...]:
    return tuple(Level(dict(level["when"]), tuple(_piece(p) for p in level["mix"])) for level in levels)


def _piece(p: Document) -> Piece:
    if p["rail"] is not None:
        return Piece(p["share"], "rail", 0.0, p["rail"])
    kind = next(kind for kind in ("normal", "limit", "uniform") if p[kind] is not None)
    return Piece(p["share"], kind, *p[kind])


def _nominal(n: Document) -> NominalRange:
    return NominalRange(n["volts"], n["from_volts"], n["to_volts"], tuple(n["input_rails_volts"]), n["mark"])


def _after(after: list[list[str]]) -> tuple[tuple[str, ...], ...]:
    return tuple(tuple(choice) for choice in after)


def _test(id_: str, t: Document, cautions: Mapping[str, Caution]) -> BenchTest:
    return BenchTest(
        id=id_,
        label=t["label"],
        how=t["how"],
        reveals=tuple(t["reveals"] or [id_]),
        minutes=t["minutes"],
        money=t["money"],
        hazard=t["hazard"],
        needs=dict(t["needs"]),
        leaves=dict(t["leaves"]),
        after=_after(t["after"]),
        cautions=tuple(cautions[c] for c in t["cautions"]),
        side_effect=t["side_effect"],
        alters=tuple(Alteration(a["component"], a["mode"], a["to"], a["chance"], a["mark"]) for a in t["alters"]),
        mark=t["mark"],
    )


def _repair(id_: str, r: Document, cautions: Mapping[str, Caution]) -> Repair:
    return Repair(
        id=id_,
        label=r["label"],
        also=tuple(r["also"]),
        fixes=tuple(r["fixes"]),
        judged_by=r["judged_by"] or "",
        success=r["success"],
        arrives_faulty=r["arrives_faulty"],
        minutes_by_size=tuple(r["minutes_by_size"]),
        parts_low=tuple(low for low, _ in r["parts"]),
        parts_high=tuple(high for _, high in r["parts"]),
        harm=tuple(r["harm"]),
        comeback=r["comeback"],
        hazard=r["hazard"],
        needs=dict(r["needs"]),
        after=_after(r["after"]),
        proved_by=tuple(_when(proof) for proof in r["proved_by"]),
        cautions=tuple(cautions[c] for c in r["cautions"]),
        advice=r["advice"],
        mark=r["mark"],
    )


def _setup(s: Document, cautions: Mapping[str, Caution]) -> SetupChange:
    part, state = s["change"].split("=")
    hazard_open = s["hazard"] if s["hazard_cover_off"] is None else s["hazard_cover_off"]
    return SetupChange(
        part=part,
        state=state,
        label=s["label"],
        minutes=s["minutes"],
        minutes_large=s["minutes"] if s["minutes_large"] is None else s["minutes_large"],
        hazard=s["hazard"],
        hazard_open=hazard_open,
        cautions=tuple(cautions[c] for c in s["cautions"]),
    )


def _refusal(id_: str, r: Document) -> Refusal:
    return Refusal(id_, r["label"], tuple(r["fits"]), dict(r["refused"]))


def _onward(o: Document) -> Onward:
    states = {
        state: Continuation(dict(c["models"]), {condition: dict(why) for condition, why in c["unless"].items()})
        for state, c in o["states"].items()
    }
    return Onward(o["condition"], states)


def _comparison(c: Document) -> Comparison:
    findings = {id_: Translation(f["as"], _when(f["states"])) for id_, f in c["findings"].items()}
    return Comparison(c["model"], c["condition"], c["state"], findings)
