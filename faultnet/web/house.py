"""What the page serves: the shop at work, and who may come in."""

from dataclasses import dataclass, field, replace

from faultnet.shop import load_shop
from faultnet.web.ahead import Ahead
from faultnet.web.once import Once
from faultnet.web.remembered import Remembered
from faultnet.workshop.workshop import Workshop


@dataclass(frozen=True)
class House:
    """A shop's page.

    opened: its database, open, and the clock. shop_file, database: where settings and database are, "" for the usual
    places; settings are read anew for each visit. pin: what opens the page from the network, "" where only this machine
    is served. secret: what cookies are signed with. names: further names that this machine has on the network.
    """

    opened: Workshop
    shop_file: str = ""
    database: str = ""
    pin: str = ""
    secret: str = ""
    names: frozenset[str] = frozenset()
    remembered: Remembered = field(default_factory=Remembered)
    ahead: Ahead = field(default_factory=Ahead)
    once: Once = field(default_factory=Once)

    @property
    def is_on_network(self) -> bool:
        """Whether others than this machine are served."""
        return bool(self.pin)

    def workshop(self) -> Workshop:
        """The shop with its settings as they are now. ShopProblem: somebody wrote something else into them."""
        return replace(self.opened, shop=load_shop(self.shop_file))
