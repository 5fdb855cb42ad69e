"""From a file's bytes to text: unpacked, within bounds, in an encoding that is certain."""

import gzip
import zlib
from pathlib import Path

from faultnet.errors import FileProblem
from faultnet.interchange.written import Unreadable

MOST_BYTES = 16 * 2**20
"""Of text, unpacked; a network with tables this large is beyond the engines as well."""

_PACKED = b"\x1f\x8b"


def read_bytes(file: Path) -> bytes:
    """The bytes of a file, unpacked where it is packed with gzip.

    FileProblem: no such file. Unreadable: empty, too large, or packed and damaged.
    """
    try:
        with file.open("rb") as stream:
            raw = stream.read(MOST_BYTES + 1)
    except OSError as error:
        raise FileProblem(f"{file}: cannot be read: {error.strerror or error}") from None
    if raw.startswith(_PACKED):
        raw = _unpacked(file)
    elif file.suffix.lower() == ".gz" and raw:
        raise Unreadable("the name ends in .gz, but this is not packed with gzip; unpack it, or take .gz off its name")
    if len(raw) > MOST_BYTES:
        raise Unreadable(f"more than {MOST_BYTES // 2**20} MB of text; a network this large cannot be imported")
    if not raw.strip():
        raise Unreadable("the file is empty")
    return raw


def _unpacked(file: Path) -> bytes:
    try:
        with gzip.open(file, "rb") as stream:
            return stream.read(MOST_BYTES + 1)
    except (OSError, EOFError, zlib.error) as error:
        raise Unreadable(f"packed with gzip and damaged ({error}); copy or download it again") from None


def is_xml(raw: bytes) -> bool:
    """Whether this is XML by its first character, in any encoding XML comes in; the name of a file does not say."""
    return raw.lstrip(b"\xef\xbb\xbf\xff\xfe\x00 \t\r\n").startswith(b"<")


def as_text(raw: bytes) -> str:
    """Bytes as UTF-8 text. Unreadable: another encoding, or characters that no text has, with line and column."""
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = raw[: error.start]
        column = len(before.rpartition(b"\n")[2]) + 1
        message = f"not text in UTF-8 (byte 0x{raw[error.start]:02X}); save it as UTF-8, if it is text at all"
        raise Unreadable(message, before.count(b"\n") + 1, column) from None
    for place, character in enumerate(text):
        if (character < " " and character not in "\t\r\n\f") or character in "\x7f\ufffd\ufeff":
            line, column = text.count("\n", 0, place) + 1, place - text.rfind("\n", 0, place)
            raise Unreadable(f"the character U+{ord(character):04X} has no place in text", line, column)
    return text
