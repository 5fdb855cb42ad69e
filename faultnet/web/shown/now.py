"""A job's own screen: where it stands, what to do next, what came in since the last look."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from faultnet.case.words import nominal_words
from faultnet.diagnosis import BetterFit
from faultnet.jobs import Entry
from faultnet.jobs.replay import usual_symptom
from faultnet.model import Model
from faultnet.model.words import disclaimer, numbers_words
from faultnet.telling.answer import ENDINGS, GO_ON_FROM, surprise_words
from faultnet.telling.job import earlier_words, entry_told
from faultnet.web.shown.head import Head
from faultnet.web.shown.standing import Standing, standing_of
from faultnet.web.shown.step import BenchStep, RepairStep, bench_step, repair_step
from faultnet.words import percent, to_one
from faultnet.workshop.entering import TAKEN_BACK
from faultnet.workshop.looking import Look


@dataclass(frozen=True)
class Told:
    """An entry in words, with its number. may_go: whether it can be taken back."""

    seq: int
    words: str
    may_go: bool


@dataclass(frozen=True)
class Onward:
    """Which models go on from here. said: from which kind of trouble, or why there is none."""

    said: str
    models: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Now:
    """What the screen shows. test, repair: what is advised, one of them at most; ending: how the job ends, else "".

    written: what this tablet just wrote; elsewhere: what others did since it looked. asks_symptom: whether the set
    fails only at times. numbers: where the model's numbers come from.
    """

    head: Head
    standing: Standing
    test: BenchStep | None
    repair: RepairStep | None
    why: str
    ending: str
    onward: Onward | None
    fits_better: str
    fits_better_model: str
    surprises: tuple[str, ...]
    notes: tuple[str, ...]
    earlier: tuple[str, ...]
    written: tuple[Told, ...]
    elsewhere: tuple[Told, ...]
    asks_symptom: bool
    is_trained: bool
    numbers: str
    disclaimer: str


def now(found: Look, head: Head, written: Sequence[int] = (), n_seen: int | None = None) -> Now:
    """The screen of a job. written: numbers of entries made here just now; n_seen: how many there were before."""
    bench, ranking, model = found.bench, found.ranking, found.bench.model
    advice, job = ranking.advice, found.bench.job
    test = ranking.advised_test
    repair = next((r for r in ranking.repairs if advice.kind == "repair" and r.repair == advice.id), None)
    notable = [s for s in found.diagnosis.surprises if s.is_notable]
    later = [] if n_seen is None else [e for e in job.entries[n_seen:] if e.seq not in written]
    return Now(
        head=head,
        standing=standing_of(model, found.diagnosis),
        test=None if test is None else bench_step(model, test, advice.why),
        repair=None if repair is None else repair_step(repair, ranking.settings.currency),
        why=advice.why,
        ending="" if test or repair else f"{ENDINGS.get(advice.verdict or advice.kind, advice.kind)}: {advice.why}",
        onward=_onward(found),
        fits_better="" if found.fits_better is None else _fits_better(found.fits_better),
        fits_better_model="" if found.fits_better is None else found.fits_better.model,
        surprises=tuple(surprise_words(model, bench.case, s, bench.replayed.numbers) for s in notable),
        notes=tuple(_notes(found)),
        earlier=tuple(earlier_words(bench)),
        written=tuple(_told(e, model) for e in job.entries if e.seq in written),
        elsewhere=tuple(_told(e, model) for e in later),
        asks_symptom=usual_symptom(job) != "showing",
        is_trained=ranking.settings.trained,
        numbers=f"{model.version}: {numbers_words(model)}",
        disclaimer=disclaimer(model),
    )


def _told(entry: Entry, model: Model) -> Told:
    return Told(entry.seq, entry_told(entry, model), entry.kind in TAKEN_BACK)


def _notes(found: Look) -> Iterator[str]:
    yield from found.bench.notes
    if found.bench.case.nominal is not None:
        yield f"nominal voltage: {nominal_words(found.bench.case.nominal)}"


def _fits_better(fit: BetterFit) -> str:
    return f"These findings fit another complaint better: {fit.label}, {to_one(fit.ratio)} over {fit.complaint_label}"


def _onward(found: Look) -> Onward | None:
    told, model = found.diagnosis.next_model, found.bench.model
    if told is None:
        return None
    likeliest = f"{model.conditions[told.condition].words(told.state)} {percent(told.probability)}"
    if told.probability < GO_ON_FROM:
        likeliest = f"not sure enough yet; so far {likeliest}"
    if told.models:
        return Onward(likeliest, tuple(told.models.items()))
    why = "; ".join(reason for *_, reason in told.refused)
    return Onward(f"{likeliest}: {'no model fits this set, ' + why if why else 'no model for this yet'}", ())
