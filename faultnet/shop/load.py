"""A shop from its settings file; what reads such files is imported only where there is one."""

from dataclasses import replace

from faultnet.errors import FileProblem
from faultnet.shop.find import find_settings_file
from faultnet.shop.shop import Shop


def load_shop(named: str = "") -> Shop:
    """The shop as its settings file says; the defaults where there is none.

    named: the file as typed, else that of `FAULTNET_SHOP`, else the one in the user's config folder if it exists.
    UsageProblem: a named file that does not exist. FileProblem: it cannot be read. ShopProblem: all that is wrong.
    """
    file = find_settings_file(named)
    if file is None:
        return Shop()
    from faultnet.shop.settings_file import read_shop
    from faultnet.shop.toml_text import MOST_BYTES

    try:
        with file.open("rb") as stream:
            raw = stream.read(MOST_BYTES + 1)
    except OSError as error:
        raise FileProblem(f"{file}: cannot be read: {error.strerror or error}") from None
    return replace(read_shop(raw, file), file=file)
