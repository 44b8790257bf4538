"""Films go to the browser by addresses of their own; a clip is read once its page is asked for."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable
from typing import Any

import pytest
from starlette.requests import Request
from starlette.types import Message, Receive, Scope, Send

from ui import asked_early
from ui.asked_early import AskedEarly
from ui.films_served import MOST_KEPT, film_address, film_response


def asked(name: str) -> Request:
    """Ask as the browser does."""
    return Request({"type": "http", "path_params": {"name": name}, "headers": []})


def test_a_film_comes_back_by_its_address() -> None:
    """The same bytes, as a film that may be kept by the browser."""
    name = film_address(b"a film").rpartition("/")[2]
    answer = film_response(asked(name))
    assert answer.status_code == 200
    assert answer.body == b"a film"
    assert answer.media_type == "video/mp4"
    assert film_address(b"a film").endswith(name)
    assert not film_address(b"another film").endswith(name)


def test_only_the_newest_films_are_kept() -> None:
    """What was asked for long ago is gone, and the answer says so; no name leads to a file."""
    first = film_address(b"film 0").rpartition("/")[2]
    for number in range(1, MOST_KEPT + 1):
        film_address(b"film %d" % number)
    assert film_response(asked(first)).status_code == 404
    assert film_response(asked("../pyproject.toml")).status_code == 404


@pytest.fixture
def begun(monkeypatch: pytest.MonkeyPatch) -> Callable[[str, str], list[str]]:
    """Ask for an address, and tell which clips are begun."""

    def ask(path: str, query: str) -> list[str]:
        tokens: list[str] = []
        monkeypatch.setattr(asked_early, "_begin", tokens.append)
        passed: list[Scope] = []

        async def served(scope: Scope, _receive: Receive, _send: Send) -> None:
            passed.append(scope)

        async def receive() -> Message:
            return {"type": "http.request"}

        async def send(_message: Any) -> None: ...

        scope = {"type": "http", "method": "GET", "path": path, "query_string": query.encode()}
        asyncio.run(AskedEarly(served)(scope, receive, send))
        for thread in threading.enumerate():
            if thread.name == "asked early":
                thread.join()
        assert passed == [scope]
        return tokens

    return ask


def test_a_clip_in_the_address_is_begun(begun: Callable[[str, str], list[str]]) -> None:
    """Only by the page that reads, and once; everything is passed on."""
    assert begun("/", "clip=demo-clean&language=en") == ["demo-clean"]
    assert begun("/", "clip=a&clip=b") == ["a"]
    assert begun("/", "language=en") == []
    assert begun("/beside", "clip=demo-clean") == []
    assert begun("/static/app.js", "clip=demo-clean") == []
