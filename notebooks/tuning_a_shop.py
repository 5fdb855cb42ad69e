# %% [markdown]
# # What a shop's own jobs change
#
# A model file starts with reasoned numbers. A shop has something better: years of jobs. Here the owner of an invented
# shop, Lantern Street Repairs, looks at what its jobs change, how sure that is, and whether anybody at the bench
# would notice.
#
# **The history is made up** (`data/synthetic/README.md`). Nothing in it says anything about real sets; read this
# notebook for what to look at, not for its numbers. Nothing is changed by it either: a version comes into use only by
# `faultnet tune --accept`.

# %%
from pathlib import Path

import pandas as pd
from IPython.display import SVG

from faultnet import (
    Case,
    Nominal,
    ShopSettings,
    count_patterns,
    diagnose,
    in_group,
    learn,
    load_model,
    parse_events,
    rank_tests,
    rates,
)
from faultnet.pictures import shift_picture

pd.set_option("display.width", 200)
ROOT = Path.cwd() if Path("data").is_dir() else Path.cwd().parent
JOBS = ROOT / "data" / "synthetic" / "jobs.csv"
BEFORE = "2029-01-01"  # jobs of the first year, to stay under a minute; leave it out for all of them
GROUPS = {"MRT": "marten", "HRN": "heron", "OTR": "otter", "LNX": "lynx", "WRN": "wren", "FCH": "finch"}


def group_of(panel: str) -> str:
    """The panel group of a panel code, by its first letters; in a shop, `panel_groups` in its settings says it."""
    return GROUPS.get(panel[:3], panel)


model = load_model("backlight@0")

# %% [markdown]
# ## What the jobs say
#
# A *pattern* is what several jobs say alike as evidence, with their number: findings that were made, volts, repairs
# and how they ended. What was replaced is not taken for what was broken. Sets that came back with the same complaint
# are doubt about an earlier job and no cases of their own.

# %%
patterns = count_patterns(JOBS, model, by=("panel_group",), before=BEFORE, with_returned=False, group_of=group_of)
print(f"{patterns.n_jobs} jobs in {len(patterns)} patterns, counted by {', '.join(patterns.by)}")
for left in patterns.left_out:
    print(f"left out: {left.jobs}, {left.why}")

# %% [markdown]
# ## Learn
#
# The numbers of the file count as jobs already seen: 20 for a share, 8 for a table row. So few jobs change little,
# and many outvote the file. Two slower checks are left out here to save time: climbing again from other numbers
# (`n_starts=0`), and learning once more as if half of what nobody wrote down had been normal (`with_blanks=False`).
# Leave both in before you accept anything.

# %%
learned = learn(model, patterns, n_starts=0, with_blanks=False)
better = learned.log_score_after - learned.log_score_before
print(f"learned from {learned.n_jobs} jobs in {learned.steps} steps; each is {better:+.3f} nats likelier than before,")
print("on the very jobs that were learned from, so some of that is flattery")

# %% [markdown]
# ## What changed
#
# The shares of the confirmed jobs first. Hollow marks are the file's, filled ones learned; the lines hold 90 %. Look
# at the lines: where the two overlap along most of their length, the jobs have confirmed the file rather than changed
# it.

# %%
shares = next(change for change in learned.changes if change.after.id == "shares")
SVG(shift_picture(model, shares.before, shares.after))

# %% [markdown]
# Everything else, the largest moves first. `jobs` are those behind a number; `strength_jobs` is how many jobs that
# tell everything would be as sure, and is often far lower, since a job rarely tells the whole truth. `row.sound.0` is
# the first row of that table in the model file, counted from 0.

# %%
numbers = learned.to_frame()
numbers["moved"] = (numbers["after"] - numbers["before"]).abs()
is_other = ~numbers["number"].isin(["shares", "second_fault_share"])
columns = ["number", "state", "before", "after", "low", "high", "jobs", "strength_jobs"]
told = numbers[is_other & (numbers["why_not"] == "")].sort_values("moved", ascending=False)
print(told.drop_duplicates("number")[columns].head(8).round(2).to_string(index=False))

# %% [markdown]
# ## What stayed, and what not to believe
#
# Most numbers are not called learned. `few`: fewer than 30 jobs had anything to do with it. `untold`: the jobs are
# there, but say too little of it beside the file. (With `with_blanks` there is a third, `blanks`: it would turn round
# if half of what nobody wrote down had been normal.) Such numbers may still have moved, as far as the jobs say; the
# word tells you not to build on it.

# %%
one_each = numbers.drop_duplicates("number")
print(one_each["why_not"].replace("", "learned").value_counts().to_string())
print("\nMoved most of those not called learned:")
doubtful = numbers[numbers["why_not"] != ""].sort_values("moved", ascending=False).drop_duplicates("number")
columns = ["number", "state", "before", "after", "low", "high", "jobs", "why_not"]
print(doubtful[columns].head(6).round(2).to_string(index=False))

# %% [markdown]
# Read one line of it aloud: so many jobs moved this number from here to there, and it may lie anywhere from `low` to
# `high`.
#
# **Blanks.** A shop leaves out what was normal. Of what nearly every job looks at, learning also learns how often a
# normal result is written down, and how often another. Where the two differ, a blank is evidence; of everything
# measured later it is not, and so what is rarely written down stays doubtful however many jobs there are.

# %%
for name, (normal, other) in learned.written.items():
    print(f"{name:16} written down when normal {normal:4.0%}, otherwise {other:4.0%}")

# %% [markdown]
# ## The same set, by both numbers
#
# A marten with sound, a faint picture and no flash, and next to no volts at the LED plug. Would anybody notice?

# %%
tuned = learned.as_version("backlight@tuned")
seen = parse_events(model, ["sound=present", "flashlight=image_seen", "startup_flash=none", "loaded_voltage=0.1,0.2"])
case = Case(seen, nominal=Nominal.label(37), inches=32)
before, after = diagnose(model, case), diagnose(tuned, case)
SVG(shift_picture(model, before, after))

# %% [markdown]
# The lines got shorter: the answer hangs less on numbers that nobody measured. They did not vanish.
#
# ## Does the advice change?
#
# That is what counts at the bench. The same set at four moments of a job; the same advice by both numbers is the
# usual answer, and a good one: what is advised hangs on minutes, hazards and the trade's order as well.

# %%
trained = ShopSettings(trained=True)
moments = {
    "at intake": [],
    "confirmed": ["sound=present", "flashlight=image_seen", "startup_flash=none"],
    "boards looked at": ["sound=present", "flashlight=image_seen", "startup_flash=none", "visual=nothing"],
    "volts read": ["sound=present", "flashlight=image_seen", "loaded_voltage=0.1,0.2", "open_voltage=44"],
}
rows = []
for moment, events in moments.items():
    now = Case(parse_events(model, events), nominal=Nominal.label(37), inches=32)
    by_file, by_jobs = (rank_tests(numbers, now, settings=trained).advice for numbers in (model, tuned))
    rows.append((moment, by_file.id or by_file.verdict, by_jobs.id or by_jobs.verdict))
print(pd.DataFrame(rows, columns=["moment", "advice by the file", "advice as learned"]).to_string(index=False))

# %% [markdown]
# ## Panel groups
#
# Sets with the same kind of panel fail alike, so shares are learned by panel group as well, each drawn towards the
# whole shop. `pull` says how hard: so many of the shop's jobs count in each group besides its own.

# %%
assert learned.pooled is not None
pull = learned.pooled.pull_jobs
print(f"{learned.pooled.column}: pull {pull:.0f} jobs (90 %: {learned.pooled.low:.0f} to {learned.pooled.high:.0f})\n")
overall = dict(zip(shares.after.states, shares.after.means, strict=True))
largest = sorted(overall, key=overall.__getitem__, reverse=True)[:5]
rows = {"whole shop": {"jobs": shares.after.jobs} | {state: overall[state] for state in largest}}
for group, own in learned.pooled.groups.items():
    means = dict(zip(own.shares.states, own.shares.means, strict=True))
    rows[group] = {"jobs": own.shares.jobs} | {state: means[state] for state in largest}
print(pd.DataFrame(rows).T.round(2).to_string())

# %% [markdown]
# Look at the pull's interval before the shares: where it reaches into the thousands, a year of jobs does not tell
# whether groups differ at all, and their shares stay near the shop's.
#
# At the bench a panel code picks its group's shares by itself. From Python `in_group` does. The same set, as a marten
# and as an otter:

# %%
for group in ("marten", "otter"):
    diagnosis = diagnose(in_group(tuned, group), case)
    frame = diagnosis.to_frame()
    chances = frame[frame["mode"] != "ok"].groupby("component")["probability"].sum().sort_values(ascending=False)
    print(f"{group:8}", ", ".join(f"{name} {chance:.0%}" for name, chance in chances.head(4).items()))

# %% [markdown]
# For comparing groups of jobs, rather than diagnosing one set, ask for rates. Labels counted are there at once,
# groups of fewer than 20 jobs would be marked (`is_few`), and all are drawn towards the rest (`pooled`). They have
# weaknesses of their own, which `failure_rates.py` looks at.

# %%
frame = rates(JOBS, model, by=["panel_group"], group_of=group_of, before=BEFORE, counted_only=True).to_frame()
columns = ["panel_group", "jobs", "is_few", "counted", "counted_of", "by_count_value", "pooled_value", "pooled_low"]
print(frame.loc[frame["name"] == "driver", [*columns, "pooled_high"]].round(2).to_string(index=False))

# %% [markdown]
# ## Before you accept
#
# - **Few jobs.** What is called `few` is the file's opinion, with a little of yours in it.
# - **Blanks.** Run it once with `with_blanks=True`; what turns round hangs on what nobody wrote down.
# - **Flattery.** The gain in nats above is on the jobs that were learned from. `faultnet backtest` and `faultnet
#   calibration` judge on later jobs.
# - **It can be undone.** `faultnet model undo backlight` brings the numbers from before back exactly.
