"""The page's server: one process, for this machine alone or for the shop's network."""

import socket
import sys
from contextlib import suppress

import uvicorn

from faultnet.errors import UsageProblem
from faultnet.web.app import make_app
from faultnet.web.house import House

SWITCH_SECONDS = 0.001
"""How long a thread that works ahead may keep one that is awaited from going on; Python's own is five times that."""

ONLY_HERE, ON_THE_NETWORK = "127.0.0.1", "0.0.0.0"


def serve(house: House, port: int) -> None:
    """Serve a house until somebody stops it. UsageProblem: the port is taken."""
    sys.setswitchinterval(SWITCH_SECONDS)
    host = ON_THE_NETWORK if house.is_on_network else ONLY_HERE
    with _listening(host, port) as listener:
        config = uvicorn.Config(
            make_app(house),
            log_level="warning",
            server_header=False,
            date_header=False,
            proxy_headers=False,
            timeout_graceful_shutdown=5,
            limit_concurrency=200,
            h11_max_incomplete_event_size=32 * 1024,
        )
        with suppress(KeyboardInterrupt):  # raised again once all benches were answered
            uvicorn.Server(config).run(sockets=[listener])


def _listening(host: str, port: int) -> socket.socket:
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host, port))
    except OSError as error:
        listener.close()
        raise UsageProblem(f"--port {port}: cannot be used here ({error.strerror}); name another") from None
    return listener


def own_addresses() -> list[str]:
    """Addresses of this machine that others on its network may reach it by. Nothing is sent to find them."""
    found = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as looking, suppress(OSError):  # no network
        looking.connect(("192.0.2.1", 9))  # an address for documentation (RFC 5737); UDP sends nothing yet
        found.append(str(looking.getsockname()[0]))
    return found
