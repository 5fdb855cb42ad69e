"""`faultnet serve`: the bench page, for this machine or for the shop's network."""

from dataclasses import dataclass

from faultnet.cli.terminal import bold, wrapped
from faultnet.cli.workshop import workshop_of
from faultnet.errors import UsageProblem
from faultnet.store.entrance import Entrance
from faultnet.web.house import House
from faultnet.web.serve import own_addresses, serve
from faultnet.workshop.entrance import entrance_of


@dataclass(frozen=True)
class ServeTyped:
    """What was typed after `serve`. names: further names of this machine on the network."""

    port: int
    on_network: bool
    new_pin: bool
    names: tuple[str, ...]


def serve_page(typed: ServeTyped, *, db: str, shop: str) -> None:
    """Serve the page until somebody stops it. UsageProblem: the port is taken, or an option needs --lan."""
    if (typed.new_pin or typed.names) and not typed.on_network:
        raise UsageProblem("--new-pin and --name go with --lan")
    workshop = workshop_of(db, shop)
    door = entrance_of(workshop, anew=typed.new_pin) if typed.on_network else Entrance("", "")
    house = House(workshop, shop, db, pin=door.pin, secret=door.secret, names=frozenset(typed.names))
    print(f"{bold('The bench page')}  http://127.0.0.1:{typed.port}/", flush=True)
    if house.is_on_network:
        for address in own_addresses():
            print(f"  on the network: http://{address}:{typed.port}/  PIN {house.pin}", flush=True)
    else:
        print(wrapped("only on this machine; for tablets on the shop's network: faultnet serve --lan"), flush=True)
    print("  stop it with Ctrl-C", flush=True)
    serve(house, typed.port)
