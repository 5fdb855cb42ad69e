"""`faultnet shop info` and `set`: every setting with its value and where it comes from, and changing it."""

import json
from collections.abc import Iterator, Sequence

from faultnet.cli.terminal import bold, table, wrapped, wrapped_table
from faultnet.errors import UsageProblem
from faultnet.readings import Meter
from faultnet.shop import Shop, load_shop
from faultnet.shop.find import SETTINGS_FILE, usual_settings_file
from faultnet.telling.settings import (
    DATABASE,
    changed_words,
    database_words,
    settings_json,
    settings_told,
    written,
)
from faultnet.words import percent


def info(shop_file: str, *, as_json: bool) -> None:
    """Print the settings of the shop."""
    shop = load_shop(shop_file)
    print(json.dumps(settings_json(shop), indent=2) if as_json else "\n".join(_info_text(shop)))


def _info_text(shop: Shop) -> Iterator[str]:
    yield bold("Files")
    if shop.file is None:
        yield wrapped(
            f"settings: none, so all are defaults; they would stand in {usual_settings_file() or SETTINGS_FILE}", 2, 4
        )
    else:
        yield wrapped(f"settings: {shop.file}", 2, 4)
    yield wrapped(f"database: {database_words(shop)}", 2, 4)
    yield ""
    yield bold("Settings")
    told = [(each.key, written(each.value), each.origin, each.means) for each in settings_told(shop)]
    yield from wrapped_table([row for row in told if row[0] != DATABASE], "llll")
    yield ""
    yield bold("Panel groups") + "  (which panel codes belong together)"
    rows_of = [(group, ", ".join(codes)) for group, codes in shop.panel_groups.codes.items()]
    yield from (
        wrapped_table(rows_of, "ll")
        if rows_of
        else [wrapped('none; faultnet shop set panel_groups.NAME "CODE, BEGINNING*"', 2, 4)]
    )
    yield ""
    yield bold("Meters") + "  (to name after @meter:, and as class)"
    yield from table([_HEADING, *(_meter_row(*named) for named in shop.meters.items())], "lrrrr")
    yield wrapped("pulse missed: by max hold, of a driver's start pulse; cut: less than nine tenths of it seen", 2)


_HEADING = ("", "accuracy", "shows to", "a second", "pulse missed / cut")


def _meter_row(name: str, meter: Meter) -> tuple[str, ...]:
    pulse = f"{percent(meter.pulse_missed)} / {percent(meter.pulse_shortened)}"
    accuracy = f"{meter.percent:g} % + {meter.counts:g}"
    return name, accuracy, f"{meter.display_counts}", f"{meter.updates_per_second:g}", pulse


def set_(texts: Sequence[str], unset: Sequence[str], shop_file: str) -> None:
    """Change settings, and print each with what it was. UsageProblem: a slip; nothing was changed then."""
    from faultnet.shop.edit import Change
    from faultnet.workshop.setting import change

    if len(texts) % 2 or not (texts or unset):
        raise UsageProblem("write KEY VALUE [KEY VALUE]..., such as: faultnet shop set hourly_rate 52 currency EUR")
    changes = [Change(key, value) for key, value in zip(texts[::2], texts[1::2], strict=True)]
    changes += [Change(key, None) for key in unset]
    file, changed = change(shop_file, changes)
    for key in changed.keys:
        print(wrapped(changed_words(changed.before, changed.after, key), 0, 2))
    print(wrapped(f"in {file}", 0, 2))
