"""The few colours of all pictures: what they tell, lightness tells as well, so that a grey print says the same."""

INK, QUIET, FAINT, TRACK = "#16202b", "#55606c", "#c3cbd3", "#e3e8ed"
"""Text and what matters; what goes with it; lines that do not matter here; the empty part of a bar."""

BAR, WHISKER = "#2a6ca8", "#16202b"
SEEN, ON_SEEN = "#16202b", "#ffffff"

_COLD, _LIT = (255, 255, 255), (255, 202, 104)


def lit(probability: float) -> str:
    """A ground that is darker the likelier something is; text in `INK` stays readable on all of it."""
    mixed = (round(cold + (warm - cold) * probability) for cold, warm in zip(_COLD, _LIT, strict=True))
    return "#" + "".join(f"{part:02x}" for part in mixed)
