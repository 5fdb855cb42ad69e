"""How people type that a set stands on the bench: `cover=off,mains=off`."""

from faultnet.case.entry import nearest
from faultnet.errors import UsageProblem
from faultnet.model.work import SETUP_PARTS


def parse_setup(text: str) -> dict[str, str]:
    """How parts of the set stand, from `cover=off,mains=off`. UsageProblem lists all slips."""
    told: dict[str, str] = {}
    problems: list[str] = []
    for item in filter(None, map(str.strip, text.split(","))):
        part, _, state = (piece.strip().lower() for piece in item.partition("="))
        if part not in SETUP_PARTS:
            problems.append(
                f"--at {item}: unknown part {part}; parts are {', '.join(SETUP_PARTS)}{nearest(part, SETUP_PARTS)}"
            )
        elif state not in SETUP_PARTS[part]:
            problems.append(f"--at {item}: write {part}=STATE; the states are {', '.join(SETUP_PARTS[part])}")
        else:
            told[part] = state
    if problems:
        raise UsageProblem(*problems)
    return told
