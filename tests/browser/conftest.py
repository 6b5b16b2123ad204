"""A real Chromium, a phone and a desk to look through, and a server for one page."""

import threading
from collections.abc import Callable, Iterator

import pytest
from flask import Flask
from playwright.sync_api import Browser, BrowserContext, sync_playwright
from werkzeug.serving import WSGIRequestHandler, make_server

CHROMIUM = "/usr/bin/chromium"
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}
DESK = {"viewport": {"width": 1280, "height": 800}}
PATIENCE_MS = 10_000


class Quiet(WSGIRequestHandler):
    """A handler that keeps no log of requests."""

    def log_request(self, *_: object) -> None:
        """Say nothing."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Let what is here reach this machine, and nothing else."""
    for item in items:
        if "/tests/browser/" in str(item.path):
            item.add_marker(pytest.mark.browser)
            item.add_marker(pytest.mark.allow_hosts(["127.0.0.1"]))


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield chromium
        chromium.close()


@pytest.fixture
def look(browser: Browser) -> Iterator[Callable[..., BrowserContext]]:
    """Open a context of any size; all are closed at the end."""
    opened: list[BrowserContext] = []

    def through(**settings: object) -> BrowserContext:
        context = browser.new_context(**settings)
        context.set_default_timeout(PATIENCE_MS)
        opened.append(context)
        return context

    yield through
    for context in opened:
        context.close()


@pytest.fixture
def phone(look: Callable[..., BrowserContext]) -> BrowserContext:
    return look(**PHONE, device_scale_factor=3)


@pytest.fixture
def desk(look: Callable[..., BrowserContext]) -> BrowserContext:
    return look(**DESK)


@pytest.fixture
def serve() -> Iterator[Callable[[Flask], str]]:
    """Serve an app on this machine and return its address; it ends with the test."""
    running = []

    def on_loopback(app: Flask) -> str:
        server = make_server("127.0.0.1", 0, app, threaded=True, request_handler=Quiet)
        thread = threading.Thread(target=server.serve_forever, daemon=True)
        thread.start()
        running.append((server, thread))
        return f"http://127.0.0.1:{server.server_port}"

    yield on_loopback
    for server, thread in running:
        server.shutdown()
        thread.join()
        server.server_close()
