"""`faultnet shop backup`, `restore` and `check`."""

import json
import sys
from collections.abc import Mapping
from pathlib import Path

from faultnet.cli.terminal import wrapped
from faultnet.cli.workshop import workshop_of
from faultnet.errors import StoreProblem, UsageProblem
from faultnet.store.check import check_database, count_rows
from faultnet.workshop.backup import back_up, restore
from faultnet.workshop.check import check_models


def backup(file: Path, *, replacing: bool, db: str, shop: str, as_json: bool) -> None:
    """Write the shop into one file."""
    workshop = workshop_of(db, shop)
    rows = back_up(workshop.database, workshop.shop, file, workshop.clock(), replacing=replacing)
    if as_json:
        print(json.dumps({"file": str(file), "rows": dict(rows)}, indent=2))
    else:
        print(wrapped(f"Backed up: {_counted(rows)}, settings and own models, in {file}", 0, 2))


def put_back(file: Path, *, sure: bool, db: str, shop: str, as_json: bool) -> None:
    """Put a backup in the place of the shop as it is, once somebody said so."""
    workshop = workshop_of(db, shop)
    with workshop.database.read() as connection:
        there = count_rows(connection)
    if there["jobs"] and not sure:
        question = f"{workshop.database.shown} holds {_counted(there)}. Put the backup in their place?"
        if not sys.stdin.isatty():
            raise UsageProblem(f"{question} Say so with --sure; a backup of what is there is made first")
        print(f"{question} [y/n] ", end="", file=sys.stderr, flush=True)
        if sys.stdin.readline().strip().lower() not in ("y", "yes"):
            raise UsageProblem("nothing was changed")
    archive, kept = restore(workshop.database, workshop.shop, file, workshop.clock())
    if as_json:
        told = {"file": str(file), "made_at": archive.made_at, "rows": dict(archive.rows)}
        print(json.dumps({**told, "backup_of_what_was_there": None if kept is None else str(kept)}, indent=2))
        return
    print(wrapped(f"Restored: {_counted(archive.rows)} as of {archive.made_at[:16]}, {len(archive.files)} files", 0, 2))
    if kept is not None:
        print(wrapped(f"What was there before: {kept}", 0, 2))


def check(*, db: str, shop: str, as_json: bool) -> None:
    """Look through the whole database, and at every job's model. StoreProblem lists everything that is wrong."""
    workshop = workshop_of(db, shop)
    with workshop.database.read() as connection:
        rows = count_rows(connection)
        wrong = list(check_database(connection))
    wrong += check_models(workshop)
    if as_json:
        print(json.dumps({"database": workshop.database.shown, "rows": rows, "wrong": wrong}, indent=2))
    elif not wrong:
        print(wrapped(f"{workshop.database.shown}: whole; {_counted(rows)}", 0, 2))
    if wrong:
        raise StoreProblem("\n".join(f"{workshop.database.shown}: {each}" for each in wrong))


def _counted(rows: Mapping[str, int]) -> str:
    return f"{rows.get('jobs', 0)} jobs with {rows.get('entries', 0)} entries"
