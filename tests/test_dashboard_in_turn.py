"""Property: no request of a page is heard before the callbacks of the one before it have run."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable

import pytest
from starlette.types import Message, Receive, Scope, Send
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg

import ui.in_turn
from ui.in_turn import InTurn

Heard = list[Message]


def pressed(fragment: str = "") -> Message:
    """Give what a browser sends when something is pressed."""
    asked = BackMsg()
    asked.rerun_script.page_name = "rounds"
    asked.rerun_script.fragment_id = fragment
    return {"type": "websocket.receive", "bytes": asked.SerializeToString()}


def told(kind: str) -> Message:
    """Give a message of a page to the browser."""
    said = ForwardMsg()
    if kind == "ref_hash":
        said.ref_hash = "known"
    elif kind == "script_finished":
        said.script_finished = ForwardMsg.FINISHED_SUCCESSFULLY
    else:
        getattr(said, kind).SetInParent()
    return {"type": "websocket.send", "bytes": said.SerializeToString()}


LEFT: Message = {"type": "websocket.disconnect", "code": 1001}


def served(
    sends: list[Message],
    page: Callable[[Heard, Send], Awaitable[None]],
    *,
    fails: bool = False,
) -> tuple[Heard, list[Message]]:
    """Let a browser send all at once to a page that answers; give what either of them got.

    `page` is called with what was heard so far, and can send.
    """
    heard: Heard = []
    got: list[Message] = []

    async def app(_scope: Scope, receive: Receive, send: Send) -> None:
        async def listen() -> None:
            while len(heard) < len(sends):
                heard.append(await receive())

        await asyncio.gather(listen(), page(heard, send))

    async def send(message: Message) -> None:
        if fails:
            raise OSError("gone")
        got.append(message)

    async def connected() -> None:
        waiting = iter(sends)

        async def receive() -> Message:
            return next(waiting)

        await InTurn(app)({"type": "websocket"}, receive, send)

    asyncio.run(asyncio.wait_for(connected(), 10.0))
    return heard, got


async def a_while() -> None:
    """Let everything else go on as far as it can."""
    for _ in range(20):
        await asyncio.sleep(0)


@pytest.mark.parametrize("drawn", ["delta", "ref_hash", "script_finished"])
@pytest.mark.parametrize("then", [pressed(), LEFT], ids=["pressed", "left"])
def test_what_comes_next_waits_until_the_page_is_drawn(drawn: str, then: Message) -> None:
    """The run before may still draw; only what the new one draws shows that it has begun."""
    counts = []

    async def page(heard: Heard, send: Send) -> None:
        for kind in ("delta", "script_finished", "new_session", "page_info_changed", drawn):
            await a_while()
            counts.append(len(heard))
            await send(told(kind))
        await a_while()
        counts.append(len(heard))
        await send(told("new_session"))
        await send(told("delta"))

    heard, _ = served([pressed(), then], page)
    assert counts == [1, 1, 1, 1, 1, 2]
    assert heard == [pressed(), then]


def test_a_part_that_is_drawn_alone_keeps_nobody_waiting() -> None:
    """It ends no run, and waits for the run's end itself."""

    async def page(heard: Heard, _send: Send) -> None:
        await a_while()
        assert len(heard) == 3

    served([pressed("live"), pressed("live"), pressed()], page)


def test_what_a_closed_page_asked_for_is_begun(monkeypatch: pytest.MonkeyPatch) -> None:
    """Messages that reach nobody any more end nothing."""
    monkeypatch.setattr(ui.in_turn, "LONGEST_WAIT_S", 5.0)

    async def page(heard: Heard, send: Send) -> None:
        await a_while()
        assert heard == [pressed()]
        for kind in ("new_session", "delta"):
            await send(told(kind))

    heard, got = served([pressed(), LEFT], page, fails=True)
    assert heard[-1] == LEFT
    assert got == []


def test_nobody_waits_for_ever(monkeypatch: pytest.MonkeyPatch) -> None:
    """A request that is never answered holds the next one up for a while only."""
    monkeypatch.setattr(ui.in_turn, "LONGEST_WAIT_S", 0.05)

    async def page(_heard: Heard, _send: Send) -> None:
        await a_while()

    heard, _ = served([pressed(), pressed(), {"type": "websocket.receive", "bytes": b"\xff"}], page)
    assert len(heard) == 3
