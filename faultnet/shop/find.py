"""Where a shop's settings lie."""

import os
from pathlib import Path

from faultnet.errors import UsageProblem

SETTINGS_FILE = "shop.toml"


def usual_settings_file() -> Path | None:
    """The settings file in the user's config folder, whether it exists or not; None for a user without a home."""
    from platformdirs import user_config_path

    try:
        return user_config_path("faultnet") / SETTINGS_FILE
    except RuntimeError:
        return None


def find_settings_file(named: str = "") -> Path | None:
    """The settings file: as named, else that of `FAULTNET_SHOP`, else the usual one; None where that does not exist.

    An empty file, and the system's empty device, hold the defaults. UsageProblem: a file that is named and not there.
    """
    in_environment = os.environ.get("FAULTNET_SHOP", "")
    for name, typed in ((named, f"--shop {named}"), (in_environment, f"FAULTNET_SHOP={in_environment}")):
        if name:
            if _exists(Path(name)):
                return Path(name)
            raise UsageProblem(f"{typed}: there is no such file")
    usual = usual_settings_file()
    return usual if usual is not None and _exists(usual) else None


def _exists(path: Path) -> bool:
    """Whether there is such a file; a name that no file can have (too long) is none."""
    try:
        return path.exists()
    except (OSError, ValueError):
        return False
