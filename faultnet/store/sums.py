"""Money in the database: whole numbers of the smallest coin, with the code of the currency."""

_WITHOUT_COINS = frozenset(
    (
        "BIF",
        "CLP",
        "DJF",
        "GNF",
        "ISK",
        "JPY",
        "KMF",
        "KRW",
        "PYG",
        "RWF",
        "UGX",
        "UYI",
        "VND",
        "VUV",
        "XAF",
        "XOF",
        "XPF",
    )
)
_OF_A_THOUSAND = frozenset(("BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"))
"""Currencies whose smallest coin is not a hundredth, by ISO 4217 (from memory)."""


def coins(currency: str) -> int:
    """How many of the smallest coin make one; a hundred where no currency is named."""
    return 1 if currency in _WITHOUT_COINS else 1000 if currency in _OF_A_THOUSAND else 100


def in_coins(money: float | None, currency: str) -> int | None:
    """A sum in the smallest coin."""
    return None if money is None else round(money * coins(currency))


def from_coins(minor: int | None, currency: str) -> float | None:
    """A sum in whole money."""
    return None if minor is None else minor / coins(currency)
