# %% [markdown]
# # A set on the bench
#
# One set with sound and a dark screen, worked through in Python: the same calls the command line makes. Every number
# below comes from `models/backlight.yaml`, whose numbers are reasoned, not measured.

# %%
from faultnet import BenchState, Case, Nominal, ShopSettings, diagnose, load_model, parse_events, rank_tests

model = load_model("backlight")
trained = ShopSettings(trained=True)

# %% [markdown]
# Nothing is known yet but the complaint. The panel stands high: a set that is lit but shows no picture is often brought
# in as dark. `low` and `high` bound 90 % of the answers that the numbers allow, each worth only the few jobs it counts
# for.

# %%
intake = Case()
faults = diagnose(model, intake).to_frame()
print(faults[faults["mode"] != "ok"].sort_values("probability", ascending=False).head(6).to_string(index=False))
print(rank_tests(model, intake, settings=trained).advice)

# %% [markdown]
# Sound is there, the torch shows a faint picture, and nothing flashes at switch-on. Now the cover comes off: which test
# is worth its minutes? `gain_repair_bits` says how much each is expected to tell about which part needs work.

# %%
confirmed = intake.after(*parse_events(model, ["sound=present", "flashlight=image_seen", "startup_flash=none"]))
ranking = rank_tests(model, confirmed, BenchState(), trained)
print(ranking.to_frame()[["test", "gain_repair_bits", "cost", "waits_for"]].head(8).round(3).to_string(index=False))

# %% [markdown]
# The label says 54 V. Near zero with the LEDs plugged, 65 V with the cable out: a live driver that cannot drive its
# strings.

# %%
measured = Case(confirmed.events, nominal=Nominal.label(54)).after(
    *parse_events(model, ["loaded_voltage=0.1,0.2", "open_voltage=65"])
)
diagnosis = diagnose(model, measured)
for weight in diagnosis.weights:
    if weight.component == diagnosis.leading:
        print(f"event {weight.event}: {weight.bits:+.2f} bit for {weight.component}")
print({group: round(chance, 3) for group, chance in diagnosis.groups.items()})
print(rank_tests(model, measured, settings=trained).advice)
