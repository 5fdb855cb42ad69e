# %% [markdown]
# # A set on the bench
#
# One set with sound and a dark screen, worked through in Python from intake to repair: the same calls the command
# line makes. The set is invented, and every number below comes from `models/backlight.yaml`, whose numbers are
# reasoned, not measured. What comes out are probabilities, not proof; local rules and licensed practice come first.

# %%
from IPython.display import SVG

from faultnet import (
    BenchState,
    Case,
    Nominal,
    ShopSettings,
    diagnose,
    load_model,
    make_plan,
    parse_events,
    rank_repairs,
    rank_tests,
)
from faultnet.pictures import bars_picture, network_picture, plan_picture

model = load_model("backlight@0")
trained = ShopSettings(trained=True)  # this bench may do powered steps; without it, only harmless ones are advised

# %% [markdown]
# ## Intake
#
# Nothing is known yet but the complaint. The panel stands high: a set that is lit but shows no picture is often
# brought in as dark. The bars are probabilities; the thin lines hold 90 % of the answers that the numbers behind them
# allow, each worth only the few jobs it counts for. Long lines are an honest "we do not know yet".

# %%
intake = Case(inches=50)
SVG(bars_picture(model, diagnose(model, intake)))

# %%
ranking = rank_tests(model, intake, settings=trained)
print(ranking.advice.kind, ranking.advice.id, "-", ranking.advice.why)

# %% [markdown]
# The first three looks cost nothing and the cover stays on, so the trade makes them before anything else, whatever
# the arithmetic says.
#
# ## The complaint confirmed
#
# Sound is there, the torch shows a faint picture, and nothing flashes at switch-on. Now the cover comes off: which
# test is worth its minutes? `gain_repair_bits` says how much a test is expected to tell about which part needs work;
# one bit is a yes-or-no question settled. `cost` is time, set-up and the price of the hazard; `waits_for` is what the
# trade does first.

# %%
confirmed = intake.after(*parse_events(model, ["sound=present", "flashlight=image_seen", "startup_flash=none"]))
ranking = rank_tests(model, confirmed, BenchState(), trained)
tests = ranking.to_frame()
print(tests[["test", "gain_repair_bits", "cost", "hazard", "waits_for"]].head(8).round(2).to_string(index=False))

# %% [markdown]
# What may the advised test show, and what would be believed then?

# %%
advised = next(test for test in ranking.tests if test.test == ranking.advice.id)
print(f"{advised.label}: {ranking.advice.why}\n")
for outcome in advised.outcomes:
    then = f"{outcome.leading_fault} {outcome.probability:.0%}"
    print(f"  {outcome.state:20}{outcome.chance:5.0%}  then likeliest: {then}")

# %% [markdown]
# ## Before the power comes on
#
# A step of hazard 1 or more cannot exist without its cautions; they come with the ranking. These are of reading the
# volts at the LED plug, a step near more than 60 V. Read them before the step, not after it. (The set-up counts as
# well: what has to happen to the set before the meter touches it.)

# %%
reading = next(test for test in ranking.tests if test.test == "loaded_voltage")
print(f"{reading.label}: hazard {reading.step.hazard} of 4, {reading.step.setup_minutes:.0f} min of set-up: ", end="")
print(", ".join(reading.step.setup))
for caution in reading.step.cautions:
    print("  !", caution.text)

# %% [markdown]
# On a bench that is not marked as trained the same step is held back, with the reason. Nothing is hidden.

# %%
for held in rank_tests(model, confirmed, BenchState()).held_back:
    if held.id in ("loaded_voltage", "strip_tester", "replace_strips"):
        print(f"{held.kind} {held.id}: {held.reason}")

# %% [markdown]
# ## Volts
#
# The label says 54 V. Near zero with the LEDs plugged, 65 V with the cable out: a live driver that cannot drive its
# strings. Volts are weighed as they are, against the nominal and the meter's error; nothing is cut into bins.
#
# `bits` say how far an event moved the odds that the leading part is faulty: +1 doubles them, -1 halves them.

# %%
measured = Case(confirmed.events, nominal=Nominal.label(54), inches=50).after(
    *parse_events(model, ["loaded_voltage=0.1,0.2", "open_voltage=65"])
)
diagnosis = diagnose(model, measured)
for weight in diagnosis.weights:
    if weight.component == diagnosis.leading:
        event = measured.events[weight.event]
        print(f"{weight.bits:+.2f} bit for {weight.component} by {event.observation}")
print({group: round(chance, 3) for group, chance in diagnosis.groups.items()})

# %% [markdown]
# The network with the chance of every component, and what was seen. Follow the lines from a finding up to the parts
# that can bring it about; tests that nobody made are only named.

# %%
SVG(network_picture(model, diagnosis, measured))

# %% [markdown]
# ## A plan
#
# `rank_tests` looks one step ahead; a plan looks to the end: tests, repairs, what follows when a repair fails, and
# giving up, at least expected cost. Here it may choose from three tests. The first plan on a machine compiles the
# search, which takes a quarter of a minute, once.

# %%
plan = make_plan(model, measured, tests=["visual", "strip_tester", "feed_rail"], settings=trained, keep_comparing=None)
print(
    f"expected cost {plan.cost.upper:.2f} (none costs less than {plan.cost.lower:.2f}); "
    f"sent back now: {plan.giving_up:.2f}"
)
SVG(plan_picture(model, plan))

# %% [markdown]
# Branches are as thick as many sets come there; beneath them stand the cautions of every step. The panel is opened
# only behind its gate: how sure of the LED side the shop wants to be, and only after something showed it. Repairs at
# this moment, the likeliest cure first:

# %%
for repair in rank_repairs(model, measured, settings=trained)[:4]:
    held = repair.held_because or "possible"
    print(f"{repair.repair:18} cures {repair.cures:4.0%}  costs {repair.cost:6.2f}  {held}")

# %% [markdown]
# ## A repair that does not help
#
# Not one LED lights at the strip tester, so the strips are replaced, and the set is still dark. That is evidence like
# any other: either the new strips did not cure what was wrong with the old ones, or something else was wrong, alone
# or as well. What the repair did not touch stays known: the volts of the unplugged driver still count.

# %%
proved = measured.after(*parse_events(model, ["strip_tester=dark"]))
failed = proved.after(*parse_events(model, ["replace_strips=not"]))
before, after = (diagnose(model, case) for case in (proved, failed))


def faulty(told):
    """The chance that each component is faulty."""
    frame = told.to_frame()
    return frame[frame["mode"] != "ok"].groupby("component")["probability"].sum()


print((100 * faulty(before).to_frame("before").join(faulty(after).rename("after"))).round(1).to_string())

# %% [markdown]
# Look at `strips`: far lower, and not at zero, since repairs fail and new parts may be bad. What was unlikely before
# now leads, with long intervals. What to do then is asked of the case as it stands; the repair is an event of it.

# %%
ranking = rank_tests(model, failed, settings=trained)
print(ranking.advice.kind, ranking.advice.id, "-", ranking.advice.why)
SVG(bars_picture(model, after))

# %% [markdown]
# ## And if it works
#
# The usual end. "The set works" says that nothing stands in its way any more; that it was the strips is likely, not
# certain. It is watched after it goes home: a set that comes back casts doubt on the repair.

# %%
works = proved.after(*parse_events(model, ["replace_strips=works"]))
print(rank_tests(model, works, settings=trained).advice.why)
