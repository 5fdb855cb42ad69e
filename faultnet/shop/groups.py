"""Panel groups: which panel codes belong together, as the shop's settings say."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from faultnet.jobs.bands import BANDS
from faultnet.jobs.codes import code_key
from faultnet.model import Model
from faultnet.model.pooled import in_group

ANY_END = "*"


@dataclass(frozen=True)
class PanelGroups:
    """Codes of each group, as they were written; one that ends in `*` stands for all that begin so."""

    codes: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    def group_of(self, code: str) -> str:
        """The group of a code, however it is written; the longest beginning counts.

        A code in none is a group of its own, in capitals without spaces and dashes; "" where there is no code.
        """
        key = code_key(code)
        found = {code_key(own.removesuffix(ANY_END)): (group, own) for group in self.codes for own in self.codes[group]}
        if key in found and not found[key][1].endswith(ANY_END):
            return found[key][0]
        beginnings = [start for start, (_, own) in found.items() if own.endswith(ANY_END) and key.startswith(start)]
        return found[max(beginnings, key=len)][0] if beginnings else key.upper()


def in_own_group(model: Model, facts: Mapping[str, str], groups: PanelGroups) -> Model:
    """The model with the shares of the group that a set belongs to, by what was noted of it; where it has any."""
    if model.pooled is None:
        return model
    if model.pooled.column == "panel_group":
        return in_group(model, groups.group_of(facts.get("panel", "")))
    column = model.pooled.column
    noted = code_key(BANDS.get(column, str)(facts.get(column, "")))
    return in_group(model, next((value for value in model.pooled.groups if noted and code_key(value) == noted), ""))


def read_codes(value: object) -> tuple[str, ...]:
    """The codes of one group, from a list or from text with commas. ValueError: neither, or one that is no code."""
    if isinstance(value, str):
        codes = [code.strip() for code in value.split(",")]
    elif isinstance(value, list) and all(isinstance(code, str) for code in value):
        codes = [code.strip() for code in value]
    else:
        raise ValueError('panel codes, as ["PX-1040", "PX-55*"] or "PX-1040, PX-55*"')
    strange = [code for code in codes if not code_key(code.removesuffix(ANY_END)) or ANY_END in code[:-1]]
    if strange or not codes:
        raise ValueError(f"{', '.join(map(repr, strange)) or 'nothing'}: no panel code; * stands at the end only")
    return tuple(codes)


def twice(codes: Mapping[str, tuple[str, ...]]) -> dict[str, list[str]]:
    """Codes that stand in more than one group, with the groups."""
    groups: dict[str, list[str]] = {}
    for group, listed in codes.items():
        for code in dict.fromkeys(map(code_key, listed)):
            groups.setdefault(code, []).append(group)
    return {code: named for code, named in groups.items() if len(named) > 1}
