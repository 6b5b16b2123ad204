"""A browser as the web tests need it: keeps cookies, sends the page's own token back."""

import re
from urllib.parse import urlsplit
from uuid import uuid4

from flask import Flask
from werkzeug.test import TestResponse

from tests.factories import PASSWORD

TOKEN = re.compile(r'name="csrf_token" value="([0-9a-f]{64})"')


class Browser:
    """One person's browser on one app."""

    def __init__(
        self, app: Flask, base_url: str = "http://localhost", agent: str = "A test browser"
    ) -> None:
        self.client = app.test_client()
        self.base_url = base_url
        self.agent = {"User-Agent": agent}
        self.token = ""

    def get(self, path: str, headers: dict[str, str] | None = None) -> TestResponse:
        """Open a page and remember the token of its forms."""
        answer = self.client.get(path, base_url=self.base_url, headers=self._all(headers))
        found = TOKEN.search(answer.text) if answer.mimetype == "text/html" else None
        self.token = found[1] if found else self.token
        return answer

    def post(
        self, path: str, data: dict | None = None, headers: dict[str, str] | None = None
    ) -> TestResponse:
        """Send a form as the page would, with a number of its own; an empty one is left out."""
        if not self.token:
            self.get("/sign-in")
        sent = {"csrf_token": self.token, "idempotency_key": str(uuid4()), **(data or {})}
        if sent["idempotency_key"] == "":
            del sent["idempotency_key"]
        return self.client.post(
            path,
            data=sent,
            base_url=self.base_url,
            headers=self._all(headers),
        )

    def sign_in(
        self, email: str, password: str = PASSWORD, following: str = "/account"
    ) -> TestResponse:
        """Sign in through the door, then open the first page."""
        self.get("/account" if self._is_in() else "/sign-in")
        answer = self.post("/sign-in", {"email": email, "password": password, "next": following})
        if answer.status_code == 303:
            self.get("/account")
        return answer

    def cookie(self, name: str) -> str:
        """Return a cookie's value."""
        kept = self.client.get_cookie(name, domain=urlsplit(self.base_url).hostname or "")
        assert kept is not None
        return kept.value

    @staticmethod
    def item_of(page: str, inside: str) -> str:
        """Return the words of the list item that holds this."""
        item = next(each for each in page.split("<li>") if inside in each)
        return " ".join(re.sub(r"<[^>]+>", "", item).split())

    def _is_in(self) -> bool:
        return self.client.get("/account", base_url=self.base_url).status_code == 200

    def _all(self, headers: dict[str, str] | None) -> dict[str, str]:
        return {**self.agent, **(headers or {})}


def token_in(page: TestResponse) -> str:
    """Return the token of a page's forms."""
    found = TOKEN.search(page.text)
    assert found, page.text
    return found[1]
