"""A real browser for tests: Debian's Chromium, driven by playwright; skipped where there is none, which CI may not."""

import os
import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import NoReturn

import pytest
from playwright.sync_api import Browser, BrowserContext, sync_playwright

WIDTHS = {"phone": (390, 844), "desk": (1280, 900)}
"""CSS pixels of the screens that pages are looked at on."""

_QUIET = ("--disable-gpu", "--no-first-run", "--disable-background-networking", "--disable-component-update",
          "--disable-sync", "--disable-quic")  # fmt: skip
"""So that the browser itself asks nobody anything."""


def without_browser(environment: Mapping[str, str]) -> NoReturn:
    """Skip a test that needs a browser; where CI says so, fail."""
    said = "no Chromium here: install Debian's package chromium"
    if environment.get("CI"):
        pytest.fail(said)
    pytest.skip(said)


@contextmanager
def chromium() -> Iterator[Browser]:
    """A browser without a window."""
    program = shutil.which("chromium")
    if program is None:
        without_browser(os.environ)
    as_root = ("--no-sandbox",) if hasattr(os, "geteuid") and os.geteuid() == 0 else ()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=[*_QUIET, *as_root])
        yield browser
        browser.close()


@contextmanager
def tablet(
    browser: Browser, address: str, screen: str = "phone", *, scripts: bool = False, dark: bool = False
) -> Iterator[BrowserContext]:
    """A tablet at the page. AssertionError at its end: something was asked of another place than the page."""
    width, height = WIDTHS[screen]
    asked: list[str] = []
    context = browser.new_context(
        viewport={"width": width, "height": height},
        java_script_enabled=scripts,
        color_scheme="dark" if dark else "light",
        base_url=address,
    )
    context.on("request", lambda request: asked.append(request.url))
    try:
        yield context
    finally:
        context.close()
    assert asked
    assert [url for url in asked if not url.startswith((f"{address}/", "data:"))] == []
