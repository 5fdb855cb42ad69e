"""Pictures that a command writes beside its answer: the name that was typed, and the file."""

from pathlib import Path

from faultnet.cli.terminal import note
from faultnet.errors import FileProblem, UsageProblem
from faultnet.files.write import write_whole

SUFFIX = ".svg"


def check_picture(file: str, option: str = "--picture") -> None:
    """UsageProblem: a name that does not end as that of a picture; "" is none."""
    if file and Path(file).suffix.lower() != SUFFIX:
        raise UsageProblem(f"{option} {file}: write a name that ends in {SUFFIX}")


def write_picture(file: str, picture: str, option: str = "--picture") -> None:
    """Write it, and say so on stderr. UsageProblem: it cannot be written there."""
    try:
        write_whole(Path(file), picture)
    except FileProblem as error:
        raise UsageProblem(f"{option} {error}") from None
    note(f"picture written: {file}")
