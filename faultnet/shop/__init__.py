"""What a shop keeps in files of its own: its settings, and its list of nominal voltages."""

from faultnet.shop.load import load_shop
from faultnet.shop.shop import Shop

__all__ = ["Shop", "load_shop"]
