"""The bench page in tests: a house on a database of its own, called directly or served to a browser."""

import html
import re
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path
from typing import Any

import uvicorn
from fastapi.testclient import TestClient
from httpx import Response

from faultnet.web.app import make_app
from faultnet.web.house import House
from faultnet.workshop.workshop import open_workshop

HERE = "http://127.0.0.1"
START = datetime(2031, 5, 17, 9, 0, tzinfo=UTC)


def house_on(place: Path | str, *, trained: bool = True, **more: Any) -> House:
    """A shop's house on this folder or database; a minute passes with each look at the clock."""
    minutes = count()
    folder = Path(place)
    settings = folder / "shop.toml" if folder.is_dir() else None
    if settings is not None and not settings.exists():
        settings.write_text(f'[shop]\ntrained = {str(trained).lower()}\ncurrency = "EUR"\n', encoding="utf-8")
    shop_file = str(settings or "")
    database = str(folder / "shop.db") if folder.is_dir() else str(place)
    workshop = open_workshop(lambda: START + timedelta(minutes=next(minutes)), shop_file, database)
    return House(workshop, shop_file, database, secret="in tests", **more)


@dataclass(frozen=True)
class Bench:
    """A browser without a screen: it follows where it is sent, and says where forms come from."""

    client: TestClient

    def get(self, path: str, status: int = 200) -> str:
        """The page at a path, as HTML."""
        return self._checked(self.client.get(path), status)

    def post(self, path: str, status: int = 200, **fields: Any) -> str:
        """What comes of a form."""
        form = {name.replace("__", "."): value for name, value in fields.items()}
        return self._checked(self.client.post(path, data=form, headers={"Origin": HERE}), status)

    def _checked(self, response: Response, status: int) -> str:
        assert response.status_code == status, (response.status_code, text_of(response.text)[:600])
        return response.text


def bench(house: House) -> Bench:
    """A browser on a house."""
    return Bench(TestClient(make_app(house), base_url=HERE, raise_server_exceptions=True))


def text_of(page: str) -> str:
    """The words of a page, in one line."""
    body = page.partition("</head>")[2] or page
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", body)).split())


def hidden(page: str, name: str) -> str:
    """The value of a hidden field of a page's first form that has one."""
    found = re.search(rf'name="{re.escape(name)}" value="([^"]*)"', page)
    assert found is not None, name
    return html.unescape(found[1])


@contextmanager
def served(house: House) -> Iterator[str]:
    """A house served on this machine; its address."""
    config = uvicorn.Config(make_app(house), host="127.0.0.1", port=0, log_level="warning", lifespan="on")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        deadline = time.monotonic() + 20
        while not server.started:
            assert thread.is_alive(), "the page did not start"
            assert time.monotonic() < deadline, "the page did not start in time"
            time.sleep(0.01)
        yield f"{HERE}:{server.servers[0].sockets[0].getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join(timeout=20)


def from_network(house: House, pin: str) -> House:
    """The same house, for tablets on the shop's network."""
    return replace(house, pin=pin)
