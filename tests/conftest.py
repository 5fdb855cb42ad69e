"""What every test runs under: no network outside this machine, and the same hypothesis examples each time."""

import os
import socket
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, settings
from servers import NoServer, Server, shared_server, without_server

if TYPE_CHECKING:
    from faultnet.workshop.workshop import Workshop

# Before pgmpy is imported anywhere: it depends on a hub client that would otherwise look for data sets outside.
os.environ["HF_HUB_OFFLINE"] = "1"

# Derandomized, so that a run says the same today and tomorrow; no deadline, because a shared machine stalls.
settings.register_profile(
    "faultnet", derandomize=True, deadline=None, database=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("faultnet")


@pytest.fixture(autouse=True, scope="session")
def own_folders(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Checked models and a shop's list are kept in folders of this run, and no settings of the user's are read."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("FAULTNET_CACHE", str(tmp_path_factory.mktemp("cache")))
        patch.setenv("FAULTNET_DATA", str(tmp_path_factory.mktemp("data")))
        patch.setenv("FAULTNET_SHOP", os.devnull)
        yield


LOOPBACK = ("127.", "::1", "localhost")


def refuse_outside(family: int, address: Any) -> None:
    """RuntimeError unless the address is a path or on this machine."""
    if family in (socket.AF_INET, socket.AF_INET6) and not str(address[0]).startswith(LOOPBACK):
        raise RuntimeError(f"a test tried to reach {address}")


@pytest.fixture(autouse=True)
def no_outside_network(monkeypatch: pytest.MonkeyPatch) -> None:
    """Sockets reach this machine only; names outside are not even looked up."""
    connect, connect_ex, sendto, lookup = (
        socket.socket.connect,
        socket.socket.connect_ex,
        socket.socket.sendto,
        socket.getaddrinfo,
    )

    def guarded_connect(self: socket.socket, address: Any) -> None:
        refuse_outside(self.family, address)
        connect(self, address)

    def guarded_connect_ex(self: socket.socket, address: Any) -> int:
        refuse_outside(self.family, address)
        return connect_ex(self, address)

    def guarded_sendto(self: socket.socket, data: Any, *flags_and_address: Any) -> int:
        refuse_outside(self.family, flags_and_address[-1])
        return sendto(self, data, *flags_and_address)

    def guarded_lookup(host: Any, *args: Any, **kwargs: Any) -> Any:
        # No host means "every address of this machine", which a server on a free port asks for.
        if host:
            refuse_outside(socket.AF_INET, (host.decode() if isinstance(host, bytes) else host,))
        return lookup(host, *args, **kwargs)

    monkeypatch.setattr(socket.socket, "connect", guarded_connect)
    monkeypatch.setattr(socket.socket, "connect_ex", guarded_connect_ex)
    monkeypatch.setattr(socket.socket, "sendto", guarded_sendto)
    monkeypatch.setattr(socket, "getaddrinfo", guarded_lookup)


@pytest.fixture(scope="session")
def postgresql_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """The PostgreSQL server of this run, shared by its workers; skipped where none starts, which CI may not."""
    own = tmp_path_factory.getbasetemp()
    with ExitStack() as stack:
        try:
            server = stack.enter_context(shared_server(own.parent if "PYTEST_XDIST_WORKER" in os.environ else own))
        except NoServer as error:
            without_server(str(error), os.environ)
        yield server


@pytest.fixture
def postgresql_url(postgresql_server: Server) -> Iterator[str]:
    """The URL of an empty database in the run's server."""
    with postgresql_server.new_database() as url:
        yield url


@pytest.fixture(params=["sqlite", "postgresql"])
def database_url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The URL of an empty database, of each kind in turn."""
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path / 'shop.db'}"
    url: str = request.getfixturevalue("postgresql_url")
    return url


@pytest.fixture
def workshop(database_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator["Workshop"]:
    monkeypatch.setenv("FAULTNET_DATA", str(tmp_path / "data"))
    yield from opened_workshop(database_url)


@pytest.fixture
def on_sqlite(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator["Workshop"]:
    monkeypatch.setenv("FAULTNET_DATA", str(tmp_path / "data"))
    yield from opened_workshop(str(tmp_path / "shop.db"))


def opened_workshop(url: str) -> Iterator["Workshop"]:
    """A workshop over this database, for as long as it is used."""
    from test_workshop import Clock

    from faultnet.shop import Shop
    from faultnet.store.database import open_database
    from faultnet.workshop.workshop import Workshop

    opened = Workshop(Shop(), open_database(url), Clock())
    yield opened
    opened.database.close()
