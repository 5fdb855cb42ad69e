"""A shop in one file: from either kind of database to the other, of any form, whole or not at all."""

import json
import random
import shutil
import zipfile
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
import sqlalchemy as sa
from servers import Server
from test_store import fill, snapshot
from test_workshop import Clock

from faultnet.errors import StoreProblem
from faultnet.files.finder import own_models_folder
from faultnet.settings import ShopSettings
from faultnet.shop import Shop, load_shop
from faultnet.shop.voltages import Entry
from faultnet.store.archive import read_archive
from faultnet.store.check import check_database
from faultnet.store.database import Database, make_engine, open_database
from faultnet.store.migrate import migrate_to, revisions
from faultnet.store.tables import HEAD, IN_ORDER
from faultnet.store.voltages import insert_voltages
from faultnet.telling.answer_json import answer_json
from faultnet.workshop.backup import KEPT, back_up, back_up_before, backups_folder, restore
from faultnet.workshop.check import check_models
from faultnet.workshop.entering import enter
from faultnet.workshop.looking import look_at
from faultnet.workshop.opening import Opening, open_job
from faultnet.workshop.workshop import Workshop, on_the_bench, open_workshop

NOW = datetime(2031, 5, 17, 14, 5, tzinfo=UTC)
MODELS = Path(__file__).parent.parent / "models"


@pytest.fixture
def folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A shop of its own: data, settings, an own model."""
    monkeypatch.setenv("FAULTNET_DATA", str(tmp_path / "data"))
    settings = tmp_path / "shop.toml"
    settings.write_text("[shop]\ntrained = true\nhourly_rate = 52  # since spring\n", encoding="utf-8")
    monkeypatch.setenv("FAULTNET_SHOP", str(settings))
    own_models_folder().mkdir(parents=True)
    model = (MODELS / "backlight.yaml").read_text(encoding="utf-8").replace("id: backlight\n", "id: ours\n", 1)
    (own_models_folder() / "ours.yaml").write_text(model, encoding="utf-8")
    return tmp_path


@pytest.fixture
def database(database_url: str) -> Iterator[Database]:
    opened = open_database(database_url)
    yield opened
    opened.close()


@pytest.fixture
def other(request: pytest.FixtureRequest, database_url: str, tmp_path: Path) -> Iterator[Database]:
    """An empty database of the other kind."""
    if database_url.startswith("sqlite"):
        with request.getfixturevalue("postgresql_server").new_database() as url:
            opened = open_database(url)
            yield opened
            opened.close()
    else:
        opened = open_database(str(tmp_path / "other.db"))
        yield opened
        opened.close()


def test_a_shop_moves_to_the_other_kind_of_database_and_back(
    folders: Path, database: Database, other: Database
) -> None:
    """Every row the same, and new jobs get numbers of their own afterwards."""
    for number in ("1001", "1002", "A/7"):
        fill(database, number)
    before = snapshot(database)
    back_up(database, load_shop(), folders / "shop.zip", NOW)
    restore(other, load_shop(), folders / "shop.zip", NOW)
    assert snapshot(other) == before
    fill(other, "1003")
    with other.read() as connection:
        assert list(check_database(connection)) == []
    back_up(other, load_shop(), folders / "later.zip", NOW)
    restore(database, load_shop(), folders / "later.zip", NOW)
    assert snapshot(database) == snapshot(other)


SEEN = {
    "sound": ("present", "absent"),
    "flashlight": ("image_seen", "no_image"),
    "startup_flash": ("none", "flash_then_off"),
    "loaded_voltage": ("0.2,0.1", "24", "36.8"),
    "open_voltage": ("65", "0@settled"),
    "strip_tester": ("dark", "all_light_ok"),
    "bl_on": ("high", "low"),
}


def twenty_cases(workshop: Workshop) -> list[str]:
    rng, numbers = random.Random(5), []
    for n in range(20):
        facts = {"size": str(rng.randrange(32, 80)), "age": str(rng.randrange(1, 15))}
        facts |= {"panel": "PX-1040"} if n % 3 else {"nominal": "54"}
        number = open_job(workshop, Opening("ours" if n % 2 else "backlight", facts=facts))
        seen = rng.sample([*SEEN], rng.randrange(1, 5))
        enter(workshop, number, [f"{name}={rng.choice(SEEN[name])}" for name in seen])
        numbers.append(number)
    return numbers


def answers(workshop: Workshop, numbers: list[str]) -> list[str]:
    told = []
    for number in numbers:
        found = look_at(workshop, on_the_bench(workshop, number))
        bench = found.bench
        answer = answer_json(bench.model, bench.case, found.diagnosis, found.ranking, found.fits_better)
        told.append(json.dumps({**answer, "file": ""}))
    return told


def test_a_restored_shop_answers_twenty_cases_identically(
    folders: Path, postgresql_server: Server, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On another machine: another kind of database, no settings, no models of its own."""
    clock = Clock()
    workshop = open_workshop(clock, database=str(folders / "shop.db"))
    with workshop.database.write() as connection:
        insert_voltages(connection, [Entry(NOW.date(), "panel", "PX-1040", 54.2, 63.0)])
    numbers = twenty_cases(workshop)
    before = answers(workshop, numbers)
    back_up(workshop.database, workshop.shop, folders / "shop.zip", NOW)
    workshop.database.close()
    monkeypatch.setenv("FAULTNET_DATA", str(folders / "there"))
    settings = folders / "there.toml"
    settings.touch()
    monkeypatch.setenv("FAULTNET_SHOP", str(settings))
    with postgresql_server.new_database() as url:
        there = open_workshop(clock, database=url)
        restore(there.database, there.shop, folders / "shop.zip", NOW)
        there.database.close()
        there = open_workshop(clock, database=url)
        assert there.shop.settings == ShopSettings(trained=True, hourly_rate=52)
        assert "# since spring" in settings.read_text(encoding="utf-8")
        assert check_models(there) == []
        assert answers(there, numbers) == before
        there.database.close()


def test_what_was_there_is_backed_up_before_a_restore(folders: Path, database: Database) -> None:
    back_up(database, Shop(), folders / "empty.zip", NOW)
    fill(database)
    before = snapshot(database)
    archive, kept = restore(database, Shop(), folders / "empty.zip", NOW)
    assert archive.rows["jobs"] == 0
    assert kept is not None
    assert kept.parent == backups_folder()
    assert not any(snapshot(database).values())
    restore(database, Shop(), kept, NOW)
    assert snapshot(database) == before


@pytest.mark.parametrize("form", revisions())
def test_a_backup_of_any_form_is_brought_up_to_date(
    folders: Path, database: Database, form: str, tmp_path: Path
) -> None:
    """Made by a database of that form, as an older faultnet would have; the same as upgrading the database itself."""
    older = open_database(str(tmp_path / "older.db"))
    fill(older)
    migrate_to(older.engine, form)
    back_up(older, Shop(), folders / "older.zip", NOW)
    assert read_archive(folders / "older.zip").form == form
    migrate_to(older.engine, HEAD)
    restore(database, Shop(), folders / "older.zip", NOW)
    assert snapshot(database) == snapshot(older)
    older.close()


def test_a_database_is_backed_up_before_it_is_brought_up_to_date(folders: Path, tmp_path: Path) -> None:
    url = str(tmp_path / "shop.db")
    older = open_database(url)
    fill(older)
    migrate_to(older.engine, "0001")
    older.close()
    workshop = open_workshop(Clock(), database=url)
    (kept,) = backups_folder().glob("*-before-upgrade.zip")
    assert read_archive(kept).form == "0001"
    assert read_archive(kept).rows["jobs"] == 1
    workshop.database.close()
    del folders


def test_only_the_newest_automatic_backups_are_kept(folders: Path, tmp_path: Path) -> None:
    database = open_database(str(tmp_path / "shop.db"))
    for day in range(KEPT + 3):
        back_up_before(database.engine, Shop(), "import", NOW.replace(day=1 + day))
    kept = sorted(file.name for file in backups_folder().iterdir())
    assert len(kept) == KEPT
    assert kept[0].startswith("shop-20310504")
    database.close()
    del folders


def test_the_oldest_automatic_backup_can_be_put_back(folders: Path, tmp_path: Path) -> None:
    database = open_database(str(tmp_path / "shop.db"))
    fill(database)
    before = snapshot(database)
    oldest = back_up_before(database.engine, Shop(), "import", NOW)
    for _ in range(KEPT - 1):
        back_up_before(database.engine, Shop(), "import", NOW)
    assert len(set(backups_folder().iterdir())) == KEPT
    with database.write() as connection:
        connection.execute(sa.text("UPDATE jobs SET opened_by = 'later'"))
    restore(database, Shop(), oldest, NOW)
    assert snapshot(database) == before
    database.close()
    del folders


def damaged(file: Path, how: str) -> None:
    """Make a backup one that must not be put back."""
    if how == "cut":
        file.write_bytes(file.read_bytes()[:-200])
    elif how == "flipped":
        with zipfile.ZipFile(file) as packed:
            entries = packed.getinfo("tables/entries.jsonl")
        content = bytearray(file.read_bytes())
        content[entries.header_offset + 100] ^= 0xFF  # in the middle of its packed rows
        file.write_bytes(content)
    elif how == "letter":
        file.write_text("Dear customer", encoding="utf-8")
    else:
        repack(file, how)


def repack(file: Path, how: str) -> None:
    """The same with one member changed, or its contents telling something else."""
    with zipfile.ZipFile(file) as packed:
        members = {name: packed.read(name) for name in packed.namelist()}
    contents = json.loads(members["faultnet.json"])
    if how == "row gone":
        members["tables/entries.jsonl"] = b"\n".join(members["tables/entries.jsonl"].splitlines()[1:]) + b"\n"
    elif how == "newer format":
        contents["format"] = 2
    elif how == "newer form":
        contents["form"] = "9999"
    elif how == "no contents":
        del members["faultnet.json"]
    elif how == "leads out":
        import hashlib

        members["files/../../evil.yaml"] = b"x"
        contents["sha256"]["files/../../evil.yaml"] = hashlib.sha256(b"x").hexdigest()
    with zipfile.ZipFile(file, "w") as packed:
        for name, content in members.items():
            packed.writestr(name, json.dumps(contents) if name == "faultnet.json" else content)


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ("cut", "no backup of a shop, or a damaged one"),
        ("flipped", "damaged"),
        ("letter", "no backup of a shop"),
        ("row gone", "damaged: tables/entries.jsonl is not what was written"),
        ("newer format", "made by a newer faultnet"),
        ("newer form", "made by a newer faultnet"),
        ("no contents", "no backup of a shop"),
        ("leads out", "no backup of ours does"),
    ],
)
def test_what_is_no_whole_backup_changes_nothing(folders: Path, tmp_path: Path, how: str, said: str) -> None:
    database = open_database(str(tmp_path / "shop.db"))
    fill(database)
    file = folders / "shop.zip"
    back_up(database, load_shop(), file, NOW)
    damaged(file, how)
    before = snapshot(database)
    with pytest.raises(StoreProblem, match=said):
        restore(database, load_shop(), file, NOW)
    assert snapshot(database) == before
    assert not list(tmp_path.parent.rglob("evil.yaml"))
    database.close()


def test_files_that_cannot_be_written_leave_the_database_as_it_was(folders: Path, database: Database) -> None:
    fill(database)
    back_up(database, load_shop(), folders / "shop.zip", NOW)
    with database.write() as connection:
        connection.execute(sa.text("UPDATE jobs SET opened_by = 'later'"))
    before = snapshot(database)
    models = own_models_folder()
    shutil.rmtree(models)
    models.write_text("a file where the folder should be")
    with pytest.raises(StoreProblem, match="the database was not changed"):
        restore(database, load_shop(), folders / "shop.zip", NOW)
    assert snapshot(database) == before


def test_a_backup_is_not_written_over_another_unless_asked_to(folders: Path, database: Database) -> None:
    file = folders / "shop.zip"
    file.write_text("something precious")
    with pytest.raises(StoreProblem, match="is there already"):
        back_up(database, Shop(), file, NOW)
    assert file.read_text() == "something precious"
    back_up(database, Shop(), file, NOW, replacing=True)
    assert read_archive(file).rows == {table.name: 0 for table in IN_ORDER}


def test_a_backup_that_cannot_be_written_is_told(folders: Path, database: Database) -> None:
    (folders / "file").touch()
    with pytest.raises(StoreProblem, match="cannot be written"):
        back_up(database, Shop(), folders / "file" / "shop.zip", NOW)


def test_settings_of_the_newer_shop_are_not_lost_by_a_restore(folders: Path, database: Database) -> None:
    """They are in the automatic backup."""
    back_up(database, load_shop(), folders / "shop.zip", NOW)
    (folders / "shop.toml").write_text("[shop]\nhourly_rate = 77\n", encoding="utf-8")
    _, kept = restore(database, load_shop(), folders / "shop.zip", NOW)
    assert kept is not None
    assert b"hourly_rate = 77" in read_archive(kept).files["shop.toml"]
    assert load_shop().settings.hourly_rate == 52
    assert replace(load_shop().settings, hourly_rate=40.0) == ShopSettings(trained=True)


def test_of_an_engine_that_was_never_opened_the_form_is_none(tmp_path: Path) -> None:
    engine = make_engine(str(tmp_path / "empty.db"))
    file = tmp_path / "empty.zip"
    from faultnet.store.archive import write_archive

    assert write_archive(engine, file, {}, NOW) == {}
    assert read_archive(file).rows == {}
    engine.dispose()
