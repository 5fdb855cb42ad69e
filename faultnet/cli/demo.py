"""`faultnet demo`: one invented job from intake to repair, told step by step."""

from dataclasses import dataclass

from faultnet.case import Case, RepairOutcome, parse_events
from faultnet.case.words import describe_event
from faultnet.cli.as_text import advice, repair_step, standing
from faultnet.cli.terminal import bold, columns, wrapped
from faultnet.diagnosis import Diagnosis, diagnose
from faultnet.files import load_model
from faultnet.model import ModeId, Model
from faultnet.model.words import disclaimer
from faultnet.model.work import Caution
from faultnet.ranking import Ranking, rank_tests
from faultnet.readings import Nominal
from faultnet.settings import ShopSettings
from faultnet.words import odds_factor, percent

NOMINAL_VOLTS = 54.0
INCHES = 50.0

SEEN = {
    "sound": ("sound=present", "The news is on. The set hears and decodes; only the light is missing."),
    "flashlight": (
        "flashlight=image_seen",
        "Torch at the glass, bright menu on: a ghost of it is there. The panel gets a picture.",
    ),
    "startup_flash": ("startup_flash=flash_then_off", "Cold start in the dark: a short flash, then nothing."),
    "blink_code": ("blink_code=normal_on", "The standby light behaves as always."),
    "visual": ("visual=nothing", "No bulged capacitor, nothing burnt."),
    "loaded_voltage": (
        "loaded_voltage=0.2,0.1",
        "Both test points at the LED plug sit near zero once it has gone dark.",
    ),
    "loaded_voltage_peak": (
        "loaded_voltage_peak=64.5",
        "Meter on max hold, fresh start: it caught 64.5 V. The label on the panel says 54 V.",
    ),
    "open_voltage": (
        "open_voltage=65.2",
        "LED cable out, meter on max hold, power on: up to 65.2 V. The driver is alive.",
    ),
    "strip_tester": ("strip_tester=dark", "Strip tester on the free plug: not one LED lights."),
    "feed_rail": ("feed_rail=ok", "24 V at the driver, steady through switch-on."),
    "bl_on": ("bl_on=high_then_low", "BL_ON comes, and is taken away after a second."),
    "dimming": ("dimming=present", "The dimming signal is there."),
    "known_load": ("known_load=drives_load", "On the shop's load the driver runs happily."),
    "fuses": ("fuses=ok", "All fuses measure fine."),
}
"""What the person at the bench sees, whichever test is advised."""

MOST_STEPS = 12


@dataclass(frozen=True)
class _Standing:
    case: Case
    diagnosis: Diagnosis
    ranking: Ranking


def tell_demo() -> None:
    """Print the demo. Every number in it is computed as it is told."""
    model = load_model("backlight")
    now = _look(model, Case(nominal=Nominal.label(NOMINAL_VOLTS), inches=INCHES))
    _intake(model, now)
    shown: set[Caution] = set()
    for number in range(1, MOST_STEPS + 1):
        if now.ranking.advice.kind != "test":
            break
        now = _step(model, now, number, shown)
    _verdict(model, now, shown)


def _look(model: Model, case: Case) -> _Standing:
    return _Standing(case, diagnose(model, case), rank_tests(model, case, settings=ShopSettings(trained=True)))


def _say(text: str) -> None:
    print(wrapped(text, 0))


def _heading(text: str) -> None:
    print("\n" + bold(text) + "\n" + "-" * min(len(text), columns()))


def _intake(model: Model, now: _Standing) -> None:
    _heading("Job 1017 at Lantern Street Repairs (an invented shop)")
    _say(
        "A 50 inch set comes in: sound, but a dark screen. The panel label gives 54 V for the LED strips. The bench "
        "is trained for powered work. faultnet knows nothing else yet, so it starts from what usually causes this:"
    )
    print()
    print("\n".join(standing(model, now.diagnosis)))
    print()
    _say(
        "The panel stands so high because nobody has looked with a torch yet: a set that is lit but shows no picture "
        "is often brought in as dark, too. The brackets are wide because these numbers are reasoned, not measured."
    )


def _step(model: Model, now: _Standing, number: int, shown: set[Caution]) -> _Standing:
    test = next(t for t in now.ranking.tests if t.test == now.ranking.advice.id)
    _heading(f"Step {number}: {test.label}")
    print("\n".join(advice(model, now.ranking, shown)))
    text, told = SEEN[test.test]
    after = _look(model, now.case.after(*parse_events(model, [text])))
    print()
    print(wrapped(f"At the bench: {told}", 0))
    print(wrapped(f"Entered as {text}, understood as {describe_event(model, after.case.events[-1])}", 0, 2))
    print()
    _moved(model, now.diagnosis, after)
    return after


def _moved(model: Model, before: Diagnosis, after: _Standing) -> None:
    leading = sorted(model.components, key=lambda c: -after.diagnosis.faulty(c))[:3]
    last = len(after.case.events) - 1
    bits = {w.component: w.bits for w in after.diagnosis.weights if w.event == last}
    for component in leading:
        moved = odds_factor(bits[component]) if component in bits else ""
        was, is_ = percent(before.faulty(component)), percent(after.diagnosis.faulty(component))
        words = "odds unchanged" if moved == "no change" else f"odds {moved}"
        print(f"  {model.components[component].label:<22} {was:>5} -> {is_:>5}   {words}")
    if surprises := [surprise for surprise in after.diagnosis.surprises if surprise.is_notable]:
        print(f"  ({len(surprises)} surprise{'s' if len(surprises) > 1 else ''} noted)")


def _verdict(model: Model, now: _Standing, shown: set[Caution]) -> None:
    if now.ranking.advice.kind != "repair":
        _heading("No repair is sure enough")
        print("\n".join(advice(model, now.ranking)))
        return
    repair = next(r for r in now.ranking.repairs if r.repair == now.ranking.advice.id)
    _heading(f"Time to repair: {repair.label}")
    print("\n".join(repair_step(repair, now.ranking.advice.why, shown)))
    print()
    print("\n".join(standing(model, now.diagnosis)))
    best = now.diagnosis.explanations[0]
    named = " and ".join(model.mode_label(ModeId.parse(f)) for f in best.faults)
    print(f"  likeliest explanation: {named}, {percent(best.probability)}")
    comeback = model.repairs[repair.repair].comeback
    _heading("After the repair")
    _say(
        f"Strips fitted, barriers, insulation and earth back in place, picture bright: entered as "
        f"{repair.repair}=works. Of such repairs about {percent(comeback)} come back within 90 days (reasoned), so the "
        f"set runs on test first. The outcome is evidence, too: had it stayed dark, the same entry with 'not' would "
        f"have moved the suspicion on."
    )
    print()
    events = " ".join(SEEN[e.observation][0] for e in now.case.events if not isinstance(e, RepairOutcome))
    _say("The same answer in one command:")
    print(wrapped(f"faultnet next backlight {events} --nominal 54 --size 50 --trained", 2, 4))
    print()
    _say(disclaimer(model))
