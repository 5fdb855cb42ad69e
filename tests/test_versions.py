"""Versions of a model: accepted, taken back, mirrored; on SQLite and PostgreSQL."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from faultnet.case import Case, parse_events
from faultnet.diagnosis import diagnose
from faultnet.errors import FileProblem, UsageProblem
from faultnet.files import load_model
from faultnet.files.load import digest_of
from faultnet.files.versions import read_version, versions_folder
from faultnet.learning.learn import Change, Learned
from faultnet.model import Model
from faultnet.model.chances import SHARES, Chances, chances_of, with_chances
from faultnet.model.version import changed, version_from_document
from faultnet.store.tables import versions
from faultnet.workshop.backup import back_up, restore
from faultnet.workshop.mirror import mirror_versions
from faultnet.workshop.tuning import Wanted, tune
from faultnet.workshop.versions import accept, number_in_use, take_back, versions_of
from faultnet.workshop.workshop import Workshop


def written() -> Model:
    return load_model("backlight@0")


def moved(model: Model, id_: str, by: float) -> Chances:
    """A number with its first chance moved, as from 40 jobs."""
    own = next(each for each in chances_of(model) if each.id == id_)
    first = own.means[0] + by
    rest = tuple(mean * (1 - first) / (1 - own.means[0]) for mean in own.means[1:])
    return replace(own, means=(first, *rest), strength_jobs=own.strength_jobs + 40, jobs=40.0)


def learned(by: float) -> Learned:
    """What some jobs changed: a share, a row and a repair."""
    model = written()
    before = {each.id: each for each in chances_of(model)}
    after = [moved(model, id_, by) for id_ in (SHARES, "row.strip_tester.0", "success.replace_strips")]
    changes = tuple(Change(before[each.id], each, None, (), None) for each in after)
    return Learned(model, changes, 40, 40, (), -3.0, -2.9, 5, True)


def shares(model: Model) -> list[float]:
    return list(model.shares.values())


def test_a_version_is_used_once_accepted_and_gone_once_taken_back(workshop: Workshop) -> None:
    first = accept(workshop, learned(0.02), 0, "bo", "a year of jobs")
    used = workshop.load_model("backlight")
    assert (first.id, used.version, number_in_use(workshop, "backlight")) == ("backlight@1", "backlight@1", 1)
    assert shares(used)[0] == pytest.approx(0.48)
    assert used.repairs["replace_strips"].success == pytest.approx(0.95)
    second = accept(workshop, learned(-0.05), 1, "bo", "two years")
    assert shares(workshop.load_model("backlight"))[0] == pytest.approx(0.41)
    assert shares(workshop.load_model("backlight@1"))[0] == pytest.approx(0.48)
    back = take_back(workshop, "backlight", "bo", "")
    assert (second.id, back.id, back.undoes) == ("backlight@2", "backlight@3", 2)
    again = workshop.load_model("backlight")
    assert [*chances_of(again)] == [*chances_of(used)]
    assert again.root_odds == used.root_odds
    last = take_back(workshop, "backlight", "bo", "all of it")
    assert (last.id, last.reason) == ("backlight@4", "all of it")
    assert replace(workshop.load_model("backlight"), version="backlight@0") == written()
    with pytest.raises(UsageProblem, match="nothing to take back"):
        take_back(workshop, "backlight", "bo", "")
    assert [each.number for each in versions_of(workshop, "backlight")] == [1, 2, 3, 4]


def test_the_second_of_two_who_accept_is_told(workshop: Workshop) -> None:
    accept(workshop, learned(0.02), 0, "bo", "mine")
    with pytest.raises(UsageProblem, match=r"backlight@1 was accepted meanwhile.*backlight@0, which is stale"):
        accept(workshop, learned(0.05), 0, "al", "mine")
    assert number_in_use(workshop, "backlight") == 1
    assert shares(workshop.load_model("backlight"))[0] == pytest.approx(0.48)


def test_what_was_accepted_while_somebody_tuned_makes_theirs_stale(
    on_sqlite: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Learning takes a while; the parent is the version that was in use when it began."""

    def meanwhile(*_: object, **__: object) -> Learned:
        accept(on_sqlite, learned(0.02), 0, "al", "quicker")
        return learned(0.05)

    monkeypatch.setattr("faultnet.workshop.tuning.learn", meanwhile)
    tuned = tune(on_sqlite, Wanted("backlight"))
    with pytest.raises(UsageProblem, match="which is stale"):
        accept(on_sqlite, tuned.learned, tuned.number_in_use, "bo", "slower")


def test_a_copy_is_not_accepted_under_the_id_of_the_file_it_was_copied_from(
    on_sqlite: Workshop, tmp_path: Path
) -> None:
    """A copy keeps its id; a version of it would be one of another text."""
    copy = tmp_path / "mine.yaml"
    copy.write_text(Path(written().file).read_text() + "# mine\n")
    of_copy = replace(learned(0.02), model=load_model(str(copy)))
    with pytest.raises(UsageProblem, match="is not what backlight means here"):
        accept(on_sqlite, of_copy, 0, "bo", "a year")
    assert number_in_use(on_sqlite, "backlight") == 0


def test_nobody_accepts_without_a_name_and_a_reason(workshop: Workshop) -> None:
    with pytest.raises(UsageProblem) as error:
        accept(workshop, learned(0.02), 0, " ", "")
    assert error.value.problems == ("say who accepts it: --by CODE", "say why: --reason TEXT")
    assert number_in_use(workshop, "backlight") == 0


def test_an_answer_says_that_its_numbers_were_learned(workshop: Workshop) -> None:
    model = written()
    case = Case(tuple(parse_events(model, ["strip_tester=dark"])))
    assert {fault.source for fault in diagnose(model, case).faults} == {"seed"}
    accept(workshop, learned(0.02), 0, "bo", "a year")
    now = workshop.load_model("backlight")
    assert {(fault.source, fault.jobs) for fault in diagnose(now, Case()).faults} == {("learned", 40)}
    assert {fault.source for fault in diagnose(now, case).faults} == {"mixed"}


def test_a_file_that_was_edited_is_not_mixed_with_what_was_learned(workshop: Workshop, tmp_path: Path) -> None:
    version = accept(workshop, learned(0.02), 0, "bo", "a year")
    other = replace(version, digest="0" * 64)
    folder = tmp_path / "versions"
    folder.mkdir()
    (folder / "backlight.json").write_text(json.dumps([other.as_document()]))
    model = load_model("backlight", versions=folder)
    assert (model.version, shares(model)) == ("backlight@0", shares(written()))
    assert "which was edited since" in model.notice
    with pytest.raises(UsageProblem, match="edited since"):
        load_model("backlight@1", versions=folder)
    assert load_model("backlight@0", versions=folder).notice == ""
    assert digest_of(written()) == version.digest


def test_the_mirror_is_made_again_from_the_database(workshop: Workshop) -> None:
    accept(workshop, learned(0.02), 0, "bo", "a year")
    folder = versions_folder(workshop.database.shown)
    (folder / "backlight.json").write_text("[{")
    with pytest.raises(FileProblem, match="made again when the shop's database is opened"):
        workshop.load_model("backlight")
    mirror_versions(workshop.database)
    assert workshop.load_model("backlight").version == "backlight@1"
    with workshop.database.write() as connection:
        connection.execute(versions.delete())
    mirror_versions(workshop.database)
    assert read_version(folder, "backlight", None) is None
    assert workshop.load_model("backlight").version == "backlight@0"
    with pytest.raises(UsageProblem, match="has no version 1"):
        workshop.load_model("backlight@1")


def test_a_restored_shop_uses_the_versions_of_its_backup(workshop: Workshop, tmp_path: Path) -> None:
    """At once, without the database being opened again."""
    accept(workshop, learned(0.02), 0, "bo", "a year")
    back_up(workshop.database, workshop.shop, tmp_path / "shop.zip", workshop.clock())
    accept(workshop, learned(-0.05), 1, "bo", "two years")
    assert workshop.load_model("backlight").version == "backlight@2"
    restore(workshop.database, workshop.shop, tmp_path / "shop.zip", workshop.clock())
    assert workshop.load_model("backlight").version == "backlight@1"
    assert shares(workshop.load_model("backlight"))[0] == pytest.approx(0.48)


def test_a_version_comes_back_from_its_document() -> None:
    model = written()
    change = learned(0.02)
    assert with_chances(model, chances_of(model), model.version).shares == model.shares
    after = change.as_version("backlight@1")
    assert next(b.id for _, b in changed(model, after)) in (SHARES, "row.strip_tester.0", "success.replace_strips")
    assert len(changed(model, after)) == 3
    with pytest.raises(ValueError, match=r"has no row\.nothing\.0"):
        with_chances(model, [Chances("row.nothing.0", ("a",), (1.0,), 1)], "backlight@1")
    with pytest.raises(KeyError):
        version_from_document({})
