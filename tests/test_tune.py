"""`faultnet tune` on a made-up shop: what it says, what it changes, and what it leaves alone."""

import json
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from html import escape

import numpy as np
import pytest
from conftest import opened_workshop
from histories import made_up, taken, written_out
from learners import JOBS, aim_of, model_of, pattern, tiny_aim
from scipy.special import betaln
from small_models import TINY

from faultnet.cli.blocks import text_of
from faultnet.errors import UsageProblem
from faultnet.files import load_model
from faultnet.learning.blanks import half_of_blanks_normal
from faultnet.learning.information import information, scores_of
from faultnet.learning.learn import learn
from faultnet.learning.pooling import FACTORS, factor_chances
from faultnet.model.chances import SHARES, chances_of
from faultnet.model.words import numbers_words
from faultnet.patterns import Patterns
from faultnet.telling.medium import TERMINAL
from faultnet.telling.tuned import tuned_blocks, tuned_picture
from faultnet.telling.tuned_json import tuned_json
from faultnet.words import percent, percent_range
from faultnet.workshop.tuning import Tuned, Wanted, tune
from faultnet.workshop.versions import accept, number_in_use, take_back
from faultnet.workshop.workshop import Workshop

N_JOBS = 60
WANTED = Wanted("backlight", n_starts=0, with_blanks=False)


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workshop]:
    """A shop with a few made-up jobs."""
    folder = tmp_path_factory.mktemp("shop")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("FAULTNET_DATA", str(folder / "data"))
        for opened in opened_workshop(str(folder / "shop.db")):
            taken(opened, written_out(folder / "jobs.csv", made_up(400).jobs[:N_JOBS]))
            yield opened


@pytest.fixture(scope="module")
def tuned(shop: Workshop) -> Tuned:
    """What these jobs say."""
    return tune(shop, WANTED)


def test_what_tune_says(tuned: Tuned, monkeypatch: pytest.MonkeyPatch) -> None:
    """At 80 columns: shares first, everything with its interval and jobs, and three closing sentences."""
    monkeypatch.setenv("COLUMNS", "80")
    said = text_of(tuned_blocks(tuned, WANTED, TERMINAL))
    assert max(map(len, said.splitlines())) <= 80
    assert said.startswith(f"backlight@0 and {tuned.learned.n_jobs} past jobs")
    assert 30 <= tuned.learned.n_jobs <= N_JOBS
    assert re.search(r"strips.open +46 % \(\d+-\d+\) +\d+ % \(\d+-\d+\) +\d+\n", said)
    assert "rest on fewer than 30 jobs" in said
    assert "Shares by panel group  (what differs most from the whole shop)" in said
    assert re.search(r"\n  (jobs  group +shop +group|\d+ groups like the whole shop)\n", said)
    assert "Each is drawn towards the shop as if it had seen" in said
    assert re.search(r"On \d+ of the last \d+ jobs the advice", " ".join(said.split()))
    assert "a share counts as 20 jobs already seen and a table row as 8" in " ".join(said.split())


def test_numbers_come_with_interval_jobs_and_source(tuned: Tuned) -> None:
    found = json.loads(json.dumps(tuned_json(tuned)))
    assert (found["accepted"], found["in_use"]) == (None, "backlight@0")
    numbers = {each["id"]: each for each in found["numbers"]}
    assert sum(state["learned"] for state in numbers["shares"]["states"]) == pytest.approx(1)
    for each in numbers.values():
        assert all(s["low"] <= s["learned"] <= s["high"] for s in each["states"])
        assert each["source"] in ("seed", "mixed", "learned")
        assert each["source"] != "learned" or each["jobs"] >= 30
    assert len(found["advice"]) == min(50, tuned.learned.n_jobs)
    groups = found["groups"]
    assert groups["column"] == "panel_group"
    assert groups["low"] < groups["pull_jobs"] < groups["high"]
    assert sum(group["jobs"] for group in groups["groups"]) < tuned.learned.n_jobs  # not every panel was written down
    for group in groups["groups"]:
        assert sum(state["learned"] for state in group["states"]) == pytest.approx(1)
        assert all(s["low"] <= s["learned"] <= s["high"] for s in group["states"])


def test_the_picture_shows_the_shares_in_use_and_as_learned(tuned: Tuned) -> None:
    drawn = tuned_picture(tuned)
    (shares,) = (each for each in tuned_json(tuned)["numbers"] if each["id"] == SHARES)
    for state in shares["states"]:
        now = f"{percent(state['learned'])} ({percent_range(state['low'], state['high'])})"
        assert escape(f"was {percent(state['in_use'])}, now {now}") in drawn
    words = " ".join(re.findall(r">([^<]+)</text>", drawn))
    assert f"{shares['jobs']:.0f} past jobs behind it" in words


def test_tuning_changes_nothing_until_it_is_accepted(shop: Workshop, tuned: Tuned) -> None:
    assert shop.load_model("backlight").version == "backlight@0"
    version = accept(shop, tuned.learned, tuned.number_in_use, "bo", "a year")
    used = shop.load_model("backlight")
    assert (used.version, version.n_jobs) == ("backlight@1", tuned.learned.n_jobs)
    now = {each.id: each.means for each in chances_of(used)}
    assert all(now[each.id] == pytest.approx(each.means, abs=1e-12) for each in tuned.learned.chances)
    with pytest.raises(UsageProblem, match="which is stale"):
        accept(shop, tuned.learned, tuned.number_in_use, "al", "a year")
    assert numbers_words(used) == f"learned from {tuned.learned.n_jobs} past jobs"
    take_back(shop, "backlight", "bo", "")
    assert replace(shop.load_model("backlight"), version="backlight@0") == load_model("backlight@0")


def test_at_the_command_line(shop: Workshop, tuned: Tuned) -> None:
    """Who accepts, and why, is asked before anything is learned; versions beside each other; too few jobs: exit 4."""
    if number_in_use(shop, "backlight") == 0:  # this test may run without the one before it
        accept(shop, tuned.learned, 0, "bo", "a year")
        take_back(shop, "backlight", "bo", "")
    db = ("--db", shop.database.shown)
    refused = run("tune", "backlight", "--accept", *db, expect=2)
    assert "say who accepts it: --by CODE" in refused
    assert "say why: --reason TEXT" in refused
    assert "at least 30 are needed" in run("tune", "backlight", "--before", "2028-01-05", *db, expect=4)
    assert "--strength lots: a number from 0.01 to 100" in run("tune", "backlight", "--strength", "lots", *db, expect=2)
    assert "not counted by colour; possible are" in run("tune", "backlight", "--groups", "colour", *db, expect=2)
    assert "say the same" in run("model", "diff", "backlight@2", "backlight@0", *db)
    differs = run("model", "diff", "backlight@1", *db)
    assert "rest" not in differs
    assert re.search(
        r"backlight@0 has no shares of groups\n  backlight@1 has shares by panel group .* \d+ groups", differs
    )
    assert "of panel group HRN43" in run("next", "backlight@1", "sound=present", "--panel", "HRN-43", *db)
    assert "of panel group" not in run("next", "backlight@1", "sound=present", "--panel", "NEW-1", *db)
    answer = run("next", "backlight@1", "--panel", "hrn 43", "--json", *db)
    assert json.loads(answer[: answer.index("\n}") + 2])["shares_of"] == {"panel_group": "HRN43"}
    assert "nothing to take back" in run("model", "undo", "backlight", *db, expect=2)
    assert "were cured by a repair" in run("backtest", "backlight@0", "--since", "2029-01-01", *db, expect=4)


def run(*arguments: str, expect: int = 0) -> str:
    """What a command says, errors included."""
    command = [sys.executable, "-m", "faultnet", *arguments]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == expect, done.stderr
    return done.stdout + done.stderr


# -- what it rests on --------------------------------------------------------------------------------------------------


def test_information_is_the_prior_without_jobs_and_the_jobs_where_they_tell_all() -> None:
    """Of a row whose leaf was seen in jobs that hide nothing of it: strength and jobs add up; without jobs, its own."""
    model = model_of(TINY)
    none = aim_of(model, (pattern(model, []), 0))
    found = information(none, none.frame.own)
    assert found.strengths == pytest.approx([b.strength_jobs for b in none.frame.blocks], rel=1e-3)
    assert found.of_shares() == pytest.approx((10, 10), rel=1e-3)
    sure = model_of(TINY.replace("p: [0.97, 0.03], strength: 7", "p: [0.97, 0.03], strength: 1000000"))
    told = aim_of(sure, (pattern(sure, ["look=dark"]), 50))
    strengths = dict(zip([b.id for b in told.frame.blocks], information(told, told.frame.own).strengths, strict=True))
    assert 5 < strengths["row.look.0"] < 55
    assert strengths["row.volts.1"] == pytest.approx(5, rel=1e-3)


def test_scores_of_jobs_add_up_to_the_gradient() -> None:
    """The sum over patterns is the derivative of the log likelihood, found another way."""
    aim = tiny_aim()
    own = aim.frame.own
    expected = aim.history.expect(own)
    total = sum(jobs @ scores for scores, jobs in scores_of(aim, own))
    by_odds, _, by_condition, _ = aim.causes.gradient(own, expected)
    counts = aim.counts(own, expected)
    n = len(own.chances)
    assert total[n:] == pytest.approx(by_odds, abs=1e-8)  # the model as written is where its prior is flat
    for block in aim.frame.blocks:
        place = aim.frame.place[block.id]
        chances = own.chances[place]
        if block.kind == "condition":
            assert total[place] == pytest.approx(by_condition["age"], abs=1e-8)
        elif block.kind in ("row", "success", "arrives_faulty") and "reported" not in block.id:
            assert total[place] == pytest.approx(counts[place] - counts[place].sum() * chances, abs=1e-8)


def test_learning_again_from_other_starts_and_with_blanks() -> None:
    """All of it on a small model: what changed, from how many jobs, and where other roads lead."""
    model = model_of(TINY)
    patterns = Patterns.of(model.id, [(pattern(model, events), n) for events, n in JOBS])
    heard: list[str] = []
    learned = learn(model, patterns, n_starts=2, told=lambda what, _n: heard.append(what))
    assert learned.n_jobs == sum(n for _, n in JOBS)
    assert learned.log_score_after > learned.log_score_before
    assert {"preparing", "learning", "other starts", "blanks", "information"} <= set(heard)
    by_id = {change.after.id: change for change in learned.changes}
    assert len(by_id) == len(chances_of(model))
    for change in learned.changes:
        assert len(change.other_starts) == 2
        assert sum(change.after.means) == pytest.approx(1)
        if change.after.kind in ("row", "success"):  # no more than as if every job behind it told all
            assert change.after.strength_jobs <= 1.3 * (change.before.strength_jobs + change.after.jobs)
        assert not (change.why_not == "" and change.after.jobs < 30)
    assert by_id["row.reported.0"].after.means == by_id["row.reported.0"].before.means
    assert by_id[SHARES].after.strength_jobs <= 10 + learned.n_jobs
    frame = learned.to_frame()
    assert len(frame) == sum(len(change.after.states) for change in learned.changes)
    assert ((frame.low <= frame.after) & (frame.after <= frame.high)).all()


def test_blanks_that_count_as_normal() -> None:
    """Each job twice, half of them with what the shop usually writes down and is missing."""
    model = model_of(TINY)
    patterns = Patterns.of(model.id, [(pattern(model, ["look=dark"]), 6), (pattern(model, ["volts=normal"]), 4)])
    filled = half_of_blanks_normal(model, patterns)
    assert filled.n_jobs == 2 * patterns.n_jobs
    said = {tuple(map(str, each.items)): int(n) for each, n in zip(filled, filled.jobs, strict=True)}
    states = {tuple(re.findall("state='([a-z]+)'", " ".join(items))): n for items, n in said.items()}
    assert states == {("dark",): 6, ("normal", "dark"): 6, ("normal",): 4, ("lit", "normal"): 4}


def test_strength_is_a_factor_on_what_the_file_counts_for() -> None:
    """Twice the strength with twice the jobs ends where the file's own strength does with them once."""
    model = model_of(TINY)
    one = Patterns.of(model.id, [(pattern(model, events), n) for events, n in JOBS])
    two = Patterns.of(model.id, [(pattern(model, events), 2 * n) for events, n in JOBS])
    quick = {"n_starts": 0, "with_blanks": False}
    usual, doubled = learn(model, one, **quick), learn(model, two, strength=2.0, **quick)  # type: ignore[arg-type]
    both = zip(usual.chances, doubled.chances, strict=True)
    assert max(max(abs(a - b) for a, b in zip(x.means, y.means, strict=True)) for x, y in both) < 1e-3


def test_rows_count_for_as_much_as_the_jobs_say() -> None:
    """Rows whose jobs are as the file says count for as much as it says; rows that the jobs contradict, for less."""
    model = model_of(TINY)

    def jobs(dark: int, lit: int) -> Patterns:
        told = [(["look=dark", "volts=30", "replace_lamp=works"], dark), (["look=lit", "replace_lamp=works"], lit)]
        return Patterns.of(model.id, [(pattern(model, events), n) for events, n in told])

    like, unlike = jobs(380, 20), jobs(200, 200)
    quick = {"strength": None, "n_starts": 0, "with_blanks": False}
    low, high = (learn(model, jobs, **quick).rows_factor for jobs in (unlike, like))  # type: ignore[arg-type]
    assert low < 0.6 < 0.8 < high
    assert learn(model, like, n_starts=0, with_blanks=False).rows_factor == 1


def test_the_factor_on_rows_is_the_posterior_mean_of_its_logarithm() -> None:
    """Two states, counts of one row: by the beta-binomial, on a grid of logarithms with a standard normal before."""
    counts, added = np.array([[9.0, 1.0], [4.0, 6.0]]), np.array([[2.0, 2.0], [1.0, 3.0]])
    logs = np.log(FACTORS)
    values = -0.5 * logs**2
    for (x, y), (a, b) in zip(counts, added, strict=True):
        values += betaln(a * FACTORS + x, b * FACTORS + y) - betaln(a * FACTORS, b * FACTORS)
    chances = np.exp(values - values.max())
    assert factor_chances([(counts, added)]) == pytest.approx(chances / chances.sum())
