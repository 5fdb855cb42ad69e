# %% [markdown]
# # How often does each part fail?
#
# A failure-rate study for the analyst: labels counted and jobs weighed, groups that share what they know, sets in
# service, repairs that are only watched for a while, and whether the chances hold.
#
# **Everything here is invented.** The shop is made up, and so are its 2,000 jobs; nothing in them says anything about
# real sets. That has one good side: what was truly wrong with every set is known, so the methods can be judged.

# %%
# %matplotlib inline
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pandas as pd
from IPython.display import display

from faultnet import calibration, comebacks, count_patterns, learn, load_model, rates, read_in_service
from faultnet.plots import draw_comebacks, draw_rates, draw_reliability

pd.set_option("display.width", 200)
ROOT = Path.cwd() if Path("data").is_dir() else Path.cwd().parent
JOBS = ROOT / "data" / "synthetic" / "jobs.csv"
TRUTH = ROOT / "data" / "synthetic" / "jobs-truth.csv"
GROUPS = {"MRT": "marten", "HRN": "heron", "OTR": "otter", "LNX": "lynx", "WRN": "wren", "FCH": "finch"}
UNTIL = "2029-07-01"  # numbers are learned from jobs before this day, chances are judged on those from it on


def group_of(panel: str) -> str:
    """The panel group of a panel code, by its first letters."""
    return GROUPS.get(panel[:3], panel)


model = load_model("backlight@0")

# %% [markdown]
# ## Labels counted
#
# The simplest study: of the jobs that a repair cured, on which part was it made? This is what a column "replaced" in
# a spreadsheet gives. `low` and `high` are Jeffreys intervals: 90 % of what the share could be if labels were a
# random sample of all jobs. (They are not, as we shall see.)

# %%
by_group = {"by": ["panel_group"], "group_of": group_of}
counted = rates(JOBS, model, **by_group, counted_only=True)
labels = counted.to_frame()
shop = labels[labels["panel_group"] == ""]
print(f"{counted.n_jobs} first visits that ended; {counted.n_cured} of them were cured and so have a label\n")
print(
    shop[["name", "counted", "counted_of", "by_count_value", "by_count_low", "by_count_high"]]
    .round(3)
    .to_string(index=False)
)

# %% [markdown]
# Look at `other`: no label ever names it, since nobody sells a part called "another cause". The interval is narrow
# and sure of itself: below 2 in 1,000.

# %% [markdown]
# ## Small groups
#
# After six weeks the shop has few jobs of each panel group. By itself a group of four jobs can say anything.
# *Pooled*, it is drawn towards the other groups, as far as the spread between them says. Groups of fewer than 20 jobs
# are marked (`is_few`); look at how wide they are alone, and how far pooling moves them.

# %%
six_weeks = rates(JOBS, model, **by_group, counted_only=True, before="2028-02-15")
early = six_weeks.to_frame()
columns = ["panel_group", "jobs", "is_few", "counted", "counted_of", "by_count_value", "by_count_low", "by_count_high"]
columns += ["pooled_value", "pooled_low", "pooled_high"]
print(early.loc[early["name"] == "strips", columns].round(2).to_string(index=False))
pull = six_weeks.pull_jobs["strips"]
print(f"\nthe common share counts for {pull.value:.0f} jobs ({pull.low:.0f} to {pull.high:.0f}) in each group")

# %% [markdown]
# The last line says how strongly groups are pulled together. Its interval is wide: six weeks hardly tell whether
# groups differ at all.

# %% [markdown]
# ## Jobs weighed
#
# A job says more than its label: what was seen, the volts, repairs that did not help, and that it was given up. The
# model turns all of it into a chance for every part. What sets with a fault look like is learned from the first half
# of the jobs; then *all* jobs are weighed, cured or not. The model's own opinion of how frequent faults are is taken
# out of the weights again, so the answer comes from the jobs. How unsure its other numbers are is in the intervals:
# they are drawn again, here four times (`n_draws`, usually twelve). Jobs of the first half serve twice, for what
# faults look like and for how frequent they are; who minds weighs the second half only (`since=UNTIL`).
#
# This is the slow cell: two runs of exact inference over a thousand and two thousand jobs.

# %%
past = count_patterns(JOBS, model, before=UNTIL, with_returned=False)
learned = learn(model, past, n_starts=0, with_blanks=False).as_version("backlight@learned")

# %% [markdown]
# How many sets are in service is nobody's guess but the owner's: a table with `sets`, and the days `from` and `to`
# between which they were in use (or `years`). These numbers are invented like the rest.

# %%
SETS = {"marten": 5200, "heron": 6100, "otter": 2400, "lynx": 3300, "wren": 1500, "finch": 700}
with TemporaryDirectory() as folder:
    table = Path(folder) / "in-service.csv"
    rows = [f"{group},{sets},2028-01-03,2031-01-03" for group, sets in SETS.items()]
    table.write_text("\n".join(["panel_group,sets,from,to", *rows]), encoding="utf-8")
    in_service = read_in_service(table, model, ["panel_group"])
print({" ".join(group) or "all": round(years) for group, years in in_service.set_years.items()}, "set-years")

weighed = rates(JOBS, learned, **by_group, in_service=in_service, n_draws=4)

# %%
draw_rates(weighed)

# %% [markdown]
# Six panels, one a component, the most frequent first. Black: the group by itself; grey: pooled; dashed: the shop.
# Read the length of the lines before the place of the dots.

# %% [markdown]
# ## Where labels go wrong
#
# Here we may look at the truth: `jobs-truth.csv` holds the faults that every set came in with. Two steps part a share
# of labels from the true share, and each can be looked at alone:
#
# 1. **Selection.** Only cured jobs have a label. Sets that were declined or not worth repairing are missing, and
#    these are not like the others.
# 2. **A replaced part is not the fault.** Plugging a cable in again while replacing strips, two parts at once, the
#    wrong repair that happened to help: the label names what was done.
#
# The truth of a finite history is a plain count: of *these* 1,894 first visits, how many had a faulty driver? A set
# with two faulty parts counts for both, as it does above. Sets that came back with the same complaint are left out,
# as `rates` leaves them out.

# %%
jobs = pd.read_csv(JOBS, dtype="string", keep_default_na=False)
everything = jobs.merge(pd.read_csv(TRUTH, dtype="string", keep_default_na=False), on="job", validate="one_to_one")
first = everything[(everything["outcome"] != "") & (everything["comeback"] != "same")].copy()
assert len(first) == counted.n_jobs == weighed.n_jobs
first["panel_group"] = first["panel"].map(lambda code: group_of(code) if code else "not written down")
parts = [share.name for share in counted.of_group()]
for part in parts:
    first[part] = first["faults"].str.contains(rf"\b{part}\.")

last = first["then"].str.split("; ").str[-1]
cured = last.str.endswith("=works")
assert cured.sum() == counted.n_cured
told = pd.DataFrame(
    {
        "true, all jobs": first[parts].mean(),
        "true, cured jobs": first.loc[cured, parts].mean(),
        "labels": shop.set_index("name")["by_count_value"],
        "weighed": pd.Series({share.name: share.by_jobs.value for share in weighed.of_group() if share.by_jobs}),
    }
).loc[parts]
print((100 * told).round(1).to_string())

# %% [markdown]
# From the first column to the second: selection. From the second to the third: labels that name what was done. The
# fourth should look like the first. Where it does not, the model errs, too; the next section asks whether it errs by
# more than its intervals admit.
#
# Selection, by how jobs ended: sets that are given up are often panels, and that is why labels hold so few of them.

# %%
by_outcome = (100 * first.groupby("outcome")[parts].mean()).round(0).astype(int)
print(by_outcome.assign(jobs=first["outcome"].value_counts()).to_string())

# %% [markdown]
# Labels: of the jobs that a repair of a part cured, in how many was this part truly faulty? Repairs that are quickly
# made along with others (plugging the cable in again, a reset) get credit that is not theirs.

# %%
rows = {}
for part in parts:
    fixing = [repair.id for repair in model.repairs.values() if part in repair.fixes]
    named = cured & last.str.contains("|".join(fixing) if fixing else "no such repair")
    together = last.str.contains("+", regex=False)
    rows[part] = {
        "labels": named.sum(),
        "truly faulty": first.loc[named, part].sum(),
        "labels, made alone": (named & ~together).sum(),
        "truly faulty ": first.loc[named & ~together, part].sum(),
        "labels, with another": (named & together).sum(),
        "truly faulty  ": first.loc[named & together, part].sum(),
    }
print(pd.DataFrame(rows).T.to_string())

# %% [markdown]
# ## Do the intervals keep their word?
#
# A 90 % interval should hold the truth nine times in ten. Eight components times the shop and seven groups (with "not
# written down" as one) make 64 intervals of each kind. The *binomial range* says how many of 64 hold if each does
# with a chance of .9 by itself: 90 % of the time between these two numbers.
#
# Two things soften this test, and both should be known. The intervals are for the share that such jobs have in the
# long run, of which a finite history is a sample; where all is seen, an honest interval holds the share of the sample
# more often than nine times in ten. And the 64 hang together: groups make up the shop, shares add up to about one,
# all rest on the same numbers. So the range is too narrow by an amount nobody has worked out. Both hold for labels as
# well.


# %%
def held(found: list, of: str) -> pd.DataFrame:
    """A row for each share that has this interval: whether it holds the truth, and how wide it is."""
    rows = []
    for share in found:
        told = getattr(share, of)
        if told is not None and share.name in parts:
            mine = first[first["panel_group"] == share.values[0]] if share.values else first
            truth = mine[share.name].mean()
            rows.append((*(share.values or ("whole shop",)), share.name, truth, *told, told.low <= truth <= told.high))
    return pd.DataFrame(rows, columns=["of", "name", "truth", "value", "low", "high", "holds"])


def as_row(told: pd.DataFrame) -> dict[str, object]:
    """How many intervals hold, beside how many should."""
    n, width = len(told), told["high"] - told["low"]
    few, many = np.quantile(np.random.default_rng(1).binomial(n, 0.9, 100_000), [0.05, 0.95]).astype(int)
    off = (told["value"] - told["truth"]).abs()
    return {
        "intervals": n,
        "hold": told["holds"].sum(),
        "%": round(100 * told["holds"].mean()),
        "should hold": f"{few} to {many}",
        "mean width": round(width.mean(), 3),
        "mean error": round(off.mean(), 3),
    }


by_labels, by_jobs = held(counted.shares, "by_count"), held(weighed.shares, "by_jobs")
of_groups = [held(each.shares, "pooled") for each in (counted, weighed)]
print(
    pd.DataFrame(
        {
            "labels counted": as_row(by_labels),
            "  without 'other'": as_row(by_labels[by_labels["name"] != "other"]),
            "  groups, pooled": as_row(of_groups[0]),
            "jobs weighed": as_row(by_jobs),
            "  groups, pooled ": as_row(of_groups[1]),
        }
    ).T.to_string()
)
print("\nWhere weighed jobs miss:")
print(by_jobs[~by_jobs["holds"]].round(3).to_string(index=False))

# %% [markdown]
# Look at `hold` beside `should hold` (in November 2026: 37 of 64 for labels, 61 of 64 for weighed jobs, 53 to 61
# should; with numbers learned from all jobs and twelve draws it was 60). Intervals of labels are *narrower* and far
# less often right: they know how few jobs there are, but not that labels are picked. More jobs make that worse, not
# better, since the intervals shrink around the wrong number. Taking `other` out, which no label can name, does not
# save them. Weighing costs width and keeps its word.
#
# Look at the misses as well, and at `settings` in the table before: too high by weights, too. A reset is quickly
# done, is often made along with another repair, and then little tells which of the two it was.
#
# And this is one shop, made up with the same model that weighs it. A real shop differs from any model, so take the
# level for the best that can be hoped for.

# %% [markdown]
# ## Per 1,000 set-years
#
# Shares say what fails *if* something fails. With sets in service, jobs become rates: first of all jobs, by group,
# then of each cause. Jobs whose panel nobody wrote down belong to no group here, so rates of groups are too low by
# about one in seven, and only the shop's is whole.

# %%
for each in weighed.occurrences:
    print(f"{' '.join(each.values) or 'all':8}{each.jobs:6} jobs   {each.rate.value:5.1f} ", end="")
    print(f"({each.rate.low:.1f} to {each.rate.high:.1f}) per 1,000 set-years")
print("\nby cause, whole shop:")
for share in weighed.of_group():
    if share.per_1000 is not None:
        print(f"{share.name:16}{share.per_1000.value:6.2f} ({share.per_1000.low:.2f} to {share.per_1000.high:.2f})")

# %% [markdown]
# These are jobs *of this shop* per set-year, not failures: a set that went to another shop, or to the tip, is not in
# them. The intervals hold how uncertain counts and causes are, not the number of sets, which is taken as known.

# %% [markdown]
# ## Repairs, watched for a while
#
# A set that has not come back yet may still do so: its time is *censored*. Kaplan and Meier's estimate uses every day
# that a set was watched and no more. `back_share` is the share that is back with the same complaint within 90 days.

# %%
lasting = comebacks(JOBS, model)
shown = lasting.to_frame()
columns = ["repair", "jobs", "back", "back_share", "low", "high", "shape", "shape_low", "shape_high"]
print(shown[columns].round(2).to_string(index=False))
assert lasting.apart is not None
print(f"\nlog-rank test of all repairs: chi2 {lasting.apart.chi2:.1f}, {lasting.apart.degrees} degrees, ", end="")
print(f"p = {lasting.apart.p:.2f}")

# %%
display(draw_comebacks(comebacks(JOBS, model, by=())))
display(draw_comebacks(lasting))

# %% [markdown]
# First all repairs, with the 90 % band of every day; then the five most frequent, the band only at the last comeback
# of each, and below how many sets were still watched.
#
# - **A lower bound.** Who is dissatisfied may go elsewhere, and then counts here as a repair that lasted.
# - **The log-rank test** asks whether all repairs last alike. A large p is no proof that they do: look at the
#   intervals, most of which rest on a handful of comebacks.
# - **Weibull's shape**: below 1 repairs fail early or not at all, above 1 they wear out. Only where the whole
#   interval lies on one side of 1 has anything been learned. Its scale, hundreds of days, is far beyond the 90 that
#   were watched: never read a life out of it.

# %% [markdown]
# ## Changes
#
# Did a share change over the three years? For each month the label counts are weighed against one level and against
# several. `chance` is the probability of any change at all; that it changes was taken for 1 in 10 beforehand. By
# labels nothing did here. To see that silence means something, we put a change in: before August 2029 three of four
# jobs in which the timing board cured the set are taken out.

# %%
with TemporaryDirectory() as folder:
    changed = Path(folder) / "changed.csv"
    is_board = jobs["then"].str.endswith("replace_timing_board=works") & (jobs["opened"] < "2029-08")
    taken = is_board & (np.random.default_rng(7).random(len(jobs)) < 0.75)
    jobs[~taken].to_csv(changed, index=False)
    as_it_was = rates(JOBS, model, by=["month"], counted_only=True)
    with_change = rates(changed, model, by=["month"], counted_only=True)
for what, found in (("as it was", as_it_was), ("with a change put in", with_change)):
    for trend in found.trends:
        if trend.name in ("panel", "strips"):
            yearly = f"odds x{trend.yearly.value:.2f} a year ({trend.yearly.low:.2f} to {trend.yearly.high:.2f})"
            print(f"{what:22}{trend.name:8} changed at all: {100 * trend.chance:3.0f} %   {yearly}")
        for change in trend.changes:
            print(f"{'':30} after {change.after} (90 %: {change.first} to {change.last}): ", end="")
            print(f"{100 * change.before_it.value:.0f} % -> {100 * change.after_it.value:.0f} %")

# %%
draw_rates(with_change)

# %% [markdown]
# A change of labels may be a change of sets, of habits, or of what gets written down; the method cannot tell which.
# Shares hang together, too: fewer boards among the labels means more of everything else.

# %% [markdown]
# ## Can its chances be trusted?
#
# A reliability diagram: of the jobs where the model said 70 %, was it so in 70 %? Judged are jobs from July 2029 on,
# by numbers learned from those before. `calibration` would learn them itself; here it is given the learned ones and
# told not to, and it warns that it cannot know what they were learned from (`may_know`). We do: from the earlier jobs
# only.

# %%
judged = calibration(JOBS, learned, since=UNTIL, learning=False, group_of=group_of)
print(f"{judged.repairs.n_jobs} first repairs, {judged.n_verified} verified causes; may_know: {judged.may_know}\n")
scores = judged.scores_frame()
columns = ["asked", "way", "log", "brier", "log_more", "log_more_low", "log_more_high"]
print(scores[columns].round(3).to_string(index=False))

# %%
display(draw_reliability(judged))

# %% [markdown]
# Grey bars: where nine in ten sets of *right* forecasts lie whole; a cross is outside. Right forecasts do not lie on
# the diagonal either, so never judge by the dots alone. `log_more` is how much worse (above 0) or better (below)
# another way of forecasting did on the same jobs, in nats a job; where its interval holds 0, nobody won.
#
# The first panel can be read straight: every job that was repaired is in it. At its left end repairs that the model
# holds unlikely work more often than it says. In a shop that leaves gaps in its records that has a plain reason:
# whoever made the repair knew more than was written down. Enter what was seen, normal results too. The second panel
# only compares ways of forecasting: a cause gets verified where things went well.

# %% [markdown]
# ## What to take along
#
# - Count labels for a first look, and distrust the narrowness of their intervals.
# - Weigh jobs for shares that are to be compared or passed on, and give the interval with every number.
# - Pool small groups; say how many jobs each has.
# - Comebacks are a lower bound; rates per set-year are of this shop's jobs.
# - All of it is as good as the model. The reliability diagram is where it would show.
