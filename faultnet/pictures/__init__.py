"""Pictures of structure as SVG, drawn by hand: a network in rows, a plan as a tree, bars, and what changed.

The same input gives the same bytes; nothing in one is fetched from anywhere.
"""

from faultnet.pictures.bars import bars_picture
from faultnet.pictures.network import network_picture
from faultnet.pictures.plan import plan_picture
from faultnet.pictures.shift import shift_picture

__all__ = ["bars_picture", "network_picture", "plan_picture", "shift_picture"]
