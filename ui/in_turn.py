"""Each request of a page begun before the next one is heard, so that none takes another's place.

Messages of a browser go in; the same come out, in their order, some a little later. Streamlit keeps
the newest request only. One that comes while another waits for its turn takes over its buttons, but
not what was typed in its form; one that comes before another's callbacks have run ends it with all
that it had to say, and so does a page that is closed. Knows of Streamlit's messages what they are,
not what they say.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from contextlib import suppress

from starlette.types import ASGIApp, Message, Receive, Scope, Send
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg

LONGEST_WAIT_S = 60.0
"""After which the next request is heard all the same; longer than any step of a page that does not
look whether something else was asked for. Chosen here."""

_DRAWN = frozenset({"delta", "ref_hash", "script_finished"})
"""What a page sends only after its callbacks have run."""


class InTurn:
    """Stand between the browser and the pages.

    Parameters
    ----------
    app
        That draws the pages.
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] == "websocket":
            turn = _Turn(receive, send)
            receive, send = turn.receive, turn.send
        await self._app(scope, receive, send)


class _Turn:
    """The request of one connection that has not begun yet, if there is one."""

    def __init__(self, receive: Receive, send: Send) -> None:
        self._receive, self._send = receive, send
        self._begun = asyncio.Event()
        self._begun.set()
        self._running = False
        self._gone = False

    async def receive(self) -> Message:
        """Give the browser's next message once the request before it has begun."""
        message = await self._receive()
        self._gone = self._gone or message["type"] == "websocket.disconnect"
        with suppress(TimeoutError):
            await asyncio.wait_for(self._begun.wait(), LONGEST_WAIT_S)
        self._running = False
        if _asks_for_a_run(message):
            self._begun.clear()
        else:
            self._begun.set()
        return message

    async def send(self, message: Message) -> None:
        """Pass a message on; what a page that was closed asked for last is begun all the same."""
        if not self._begun.is_set():
            self._look_at(message)
        if self._gone:
            return
        try:
            await self._send(message)
        except OSError:
            self._gone = True  # `receive` will say so, too

    def _look_at(self, message: Message) -> None:
        kind = _kind(message)
        if kind == "new_session":
            self._running = True
        elif self._running and kind in _DRAWN:
            self._begun.set()


def _asks_for_a_run(message: Message) -> bool:
    """Tell whether a message is to draw a page; a part of one that is drawn alone ends no run."""
    asked = BackMsg()
    if not _parsed(message, asked.ParseFromString) or asked.WhichOneof("type") != "rerun_script":
        return False
    return not asked.rerun_script.fragment_id


def _kind(message: Message) -> str:
    told = ForwardMsg()
    return str(told.WhichOneof("type")) if _parsed(message, told.ParseFromString) else ""


def _parsed(message: Message, parse: Callable[[bytes], object]) -> bool:
    data = message.get("bytes")
    if not data:
        return False
    try:
        parse(data)
    except Exception:  # no message of Streamlit's, which will end the connection itself
        return False
    return True
