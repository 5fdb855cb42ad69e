"""Checked models, kept in the user's cache folder so that the next start need not check them again.

A model is kept under the digest of its file, this program's version and the layout of the document, as JSON with a
digest of its own. Whatever goes wrong with the cache (read-only, damaged, two processes at once) costs time, never an
answer.
"""

import json
import os
import threading
from hashlib import sha256
from pathlib import Path
from typing import Any

from faultnet.model.document import Document

LAYOUT = 13
"""Raise this when the document, what is refused in it, or how priors are solved from it changes."""


def cache_folder() -> Path:
    """The folder for checked models: `FAULTNET_CACHE`, or the user's cache folder."""
    if folder := os.environ.get("FAULTNET_CACHE"):
        return Path(folder)
    from platformdirs import user_cache_path

    return user_cache_path("faultnet")


def cache_key(raw: bytes, program_version: str) -> str:
    """The name under which the checked document of these bytes is kept."""
    return sha256(b"\0".join([raw, program_version.encode(), str(LAYOUT).encode()])).hexdigest()


def recall(key: str) -> Document | None:
    """The kept document, or None when there is none that is whole."""
    try:
        digest, _, text = (cache_folder() / f"{key}.json").read_bytes().partition(b"\n")
        if digest.decode() != sha256(text).hexdigest():
            return None
        document = json.loads(text)
    except (OSError, ValueError, RuntimeError):
        return None
    return document if isinstance(document, dict) else None


def keep(key: str, document: dict[str, Any]) -> None:
    """Keep a checked document; written aside and moved into place, so that no reader sees half of it."""
    text = json.dumps(document, separators=(",", ":")).encode()
    try:
        folder = cache_folder()
        folder.mkdir(parents=True, exist_ok=True)
        aside = folder / f"{key}.{os.getpid()}.{threading.get_ident()}.part"
        try:
            aside.write_bytes(sha256(text).hexdigest().encode() + b"\n" + text)
            aside.replace(folder / f"{key}.json")
        finally:
            aside.unlink(missing_ok=True)
    except (OSError, RuntimeError):
        return
