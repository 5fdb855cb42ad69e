"""Reading a network that another program wrote: BIF or XMLBIF, packed or not."""

from pathlib import Path

from faultnet.interchange.bif import read_bif
from faultnet.interchange.source import as_text, is_xml, read_bytes
from faultnet.interchange.verify import Verified, verify
from faultnet.interchange.written import Unreadable, Written, refused
from faultnet.interchange.xmlbif import read_xmlbif


def read_network(file: Path) -> Verified:
    """The network in a file, checked number by number. Which format it is follows from its first character.

    FileProblem: it cannot be opened. ModelProblem: everything that is wrong with it, with lines; a damaged file is
    never read in part.
    """
    try:
        written = read_text(read_bytes(file))
    except Unreadable as error:
        raise refused(str(file), [error.problem]) from None
    verified, problems = verify(written)
    if verified is None:
        raise refused(str(file), problems)
    return verified


def read_text(raw: bytes) -> Written:
    """What the bytes of a network file say. Unreadable: not in one of the two formats."""
    return read_xmlbif(raw) if is_xml(raw) else read_bif(as_text(raw))
