"""A clip that an address names is begun to be read while the browser still loads the page."""

from __future__ import annotations

import logging
import threading
from importlib import import_module
from urllib.parse import parse_qs

from starlette.types import ASGIApp, Receive, Scope, Send

from ui.command_words import language_of_environment
from ui.loading import wait_until_loaded

_LOG = logging.getLogger("tailsway.dashboard")


class AskedEarly:
    """Look at the addresses that are asked for, and pass all on.

    Parameters
    ----------
    app
        That answers.
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request."""
        if scope["type"] == "http" and scope["method"] == "GET" and scope["path"] == "/":
            for token in parse_qs(scope["query_string"].decode("latin-1")).get("clip", [])[:1]:
                threading.Thread(target=_begin, args=(token,), name="asked early").start()
        await self._app(scope, receive, send)


def _begin(token: str) -> None:
    wait_until_loaded()
    try:
        page_read, words = import_module("ui.page_read"), import_module("ui.dash_words")
        page_read.asked_ahead(token, words.Words(language_of_environment()))
    except Exception:  # the page meets the same when it is drawn, and says so
        _LOG.info("reading ahead failed", exc_info=True)
