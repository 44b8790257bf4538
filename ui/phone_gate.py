"""A small door for films from a phone on the same network: an address, a code, uploads to disk.

The dashboard itself stays with this computer; only this door listens on the network, only while it
is open, and all that it does is to take a film from whoever has the code. Films are copied to the
shelf in pieces and never held whole in memory.
"""

from __future__ import annotations

import hmac
import ipaddress
import json
import logging
import secrets
import socket
import threading
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from functools import cache
from html import escape
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from importlib.resources import files
from io import BufferedIOBase
from typing import IO, Any, cast
from urllib.parse import unquote, urlsplit

from classify.clip_store import FILM_TYPES, is_film_name
from tracker.types import InputError, message
from ui.shelf import Shelf
from ui.words import say

_LOG = logging.getLogger("tailsway.phone")

CODE_DIGITS = 8
MOST_WRONG = 5
"""Wrong codes after which the door stays shut for `SHUT_S`; chosen here: 10^8 codes at 5 in half a
minute take 19 years."""
SHUT_S = 30.0
OPEN_FOR_S = 1800.0
"""After which the door shuts by itself and its code is worth nothing; chosen here: long enough for
a round, too short to be forgotten overnight."""
IDLE_S = 30.0
"""A connection that says nothing for so long is let go."""
MOST_VISITS = 16
"""Connections served at a time; more are let go. Chosen here: a club's phones, not a flood."""


def own_address() -> str | None:
    """Find this computer's address on its network, without sending anything.

    Returns
    -------
    str or None
        None without a network.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # A datagram socket only looks up the route here; the address is one for documentation.
            probe.connect(("192.0.2.1", 9))
        except OSError:
            return None
        found = str(probe.getsockname()[0])
    return None if ipaddress.ip_address(found).is_loopback else found


class PhoneGate:
    """The door, shut until `start` is called.

    Parameters
    ----------
    shelf
        Where films go.
    address
        To listen on: this computer's address on the network.
    most_bytes
        Of one film.
    arrived
        Called with the hash of a film that came in; says what to answer the phone.
    language
        Two letters.
    open_for_s
        Seconds after which the door shuts by itself.
    """

    def __init__(
        self,
        shelf: Shelf,
        address: str,
        *,
        most_bytes: int,
        arrived: Callable[[str], str],
        language: str,
        open_for_s: float = OPEN_FOR_S,
    ) -> None:
        self.shelf = shelf
        self.address = address
        self.most_bytes = most_bytes
        self.arrived = arrived
        self.language = language
        self.open_for_s = open_for_s
        self.shuts_at: datetime | None = None
        self.code = "".join(secrets.choice("0123456789") for _ in range(CODE_DIGITS))
        self._wrong = 0
        self._shut_until = 0.0
        self._lock = threading.Lock()
        self._server: _GateServer | None = None
        self._timer: threading.Timer | None = None

    @property
    def url(self) -> str | None:
        """What the phone opens; None while the door is shut."""
        server = self._server
        return None if server is None else f"http://{self.address}:{server.server_address[1]}/"

    def start(self) -> None:
        """Open the door on a free port.

        Raises
        ------
        InputError
            If this computer does not let us listen on that address.
        """
        try:
            self._server = _GateServer((self.address, 0), self)
        except OSError as mistake:
            reason = mistake.strerror or str(mistake)
            raise InputError("phone.cannot_listen", address=self.address, reason=reason) from None
        threading.Thread(target=self._server.serve_forever, daemon=True, name="phone-gate").start()
        self.shuts_at = datetime.now().astimezone() + timedelta(seconds=self.open_for_s)
        self._timer = threading.Timer(self.open_for_s, self.stop)
        self._timer.daemon = True
        self._timer.start()

    def stop(self) -> None:
        """Shut the door; a film that is on its way still arrives."""
        with self._lock:
            server, self._server = self._server, None
            timer, self._timer = self._timer, None
        if timer is not None:
            timer.cancel()
        if server is not None:
            server.shutdown()
            server.server_close()

    def check(self, code: str) -> str | None:
        """Check an access code.

        Parameters
        ----------
        code
            As it was typed.

        Returns
        -------
        str or None
            The key of the sentence that refuses it; None if it is right.
        """
        with self._lock:
            if self._server is None:
                return "phone.expired"
            if time.monotonic() < self._shut_until:
                return "phone.shut"
            typed = "".join(code.split())  # eight digits are read, and typed, in two groups
            if hmac.compare_digest(typed.encode(), self.code.encode()):
                self._wrong = 0
                return None
            self._wrong += 1
            if self._wrong >= MOST_WRONG:
                self._wrong = 0
                self._shut_until = time.monotonic() + SHUT_S
            return "phone.wrong_code"


_Plug = socket.socket | tuple[bytes, socket.socket]
_Address = Any


class _GateServer(ThreadingHTTPServer):
    daemon_threads = True

    def __init__(self, place: tuple[str, int], gate: PhoneGate) -> None:
        self.gate = gate
        self._free = threading.BoundedSemaphore(MOST_VISITS)
        super().__init__(place, _Visit)

    def process_request(self, request: _Plug, client_address: _Address) -> None:
        """Serve a connection in a thread of its own, unless there are too many already."""
        if self._free.acquire(blocking=False):
            super().process_request(request, client_address)
        else:
            self.shutdown_request(request)

    def process_request_thread(self, request: _Plug, client_address: _Address) -> None:
        """Serve a connection, and make room for the next one however it ends."""
        try:
            super().process_request_thread(request, client_address)
        finally:
            self._free.release()

    def handle_error(self, request: _Plug, client_address: _Address) -> None:  # noqa: ARG002
        """Keep a connection that broke off out of the coach's terminal."""
        _LOG.info("a phone's connection failed", exc_info=True)


class _Visit(BaseHTTPRequestHandler):
    """One request of a phone."""

    timeout = IDLE_S
    server_version = "tailsway"
    sys_version = ""

    @property
    def _gate(self) -> PhoneGate:
        return cast(_GateServer, self.server).gate

    def do_GET(self) -> None:
        """Show the page."""
        if not self._is_ours():
            return
        if urlsplit(self.path).path != "/":
            self._answer(HTTPStatus.NOT_FOUND, "phone.nothing_here")
            return
        nonce = secrets.token_urlsafe(12)
        body = page_html(self._gate.language, nonce).encode()
        self.send_response(HTTPStatus.OK)
        self.send_header("Content-Type", "text/html; charset=utf-8")
        policy = f"default-src 'none'; style-src 'unsafe-inline'; script-src 'nonce-{nonce}'; "
        self.send_header(
            "Content-Security-Policy", policy + "connect-src 'self'; form-action 'none'"
        )
        self._finish_headers(len(body))
        self.wfile.write(body)

    def do_PUT(self) -> None:
        """Take a film."""
        # The rest of a refused film is not read, so the connection cannot be used again.
        self.close_connection = True
        if not self._is_ours():
            return
        if urlsplit(self.path).path != "/film":
            self._answer(HTTPStatus.NOT_FOUND, "phone.nothing_here")
            return
        refused = self._gate.check(self.headers.get("X-Access-Code", ""))
        if refused is not None:
            self._answer(HTTPStatus.FORBIDDEN, refused)
            return
        length = self.headers.get("Content-Length", "")
        if not length.isdecimal():
            self._answer(HTTPStatus.LENGTH_REQUIRED, "phone.no_length")
            return
        self._take(int(length))

    def _take(self, length: int) -> None:
        gate = self._gate
        name = unquote(self.headers.get("X-File-Name", "clip.mp4"))
        if not is_film_name(name):
            no_film = message("round.no_film", kinds=", ".join(FILM_TYPES))
            self._say(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, say(no_film, gate.language))
            return
        if length > gate.most_bytes:
            too_large = message(
                "pages.upload_too_large", name=name, most_mb=gate.most_bytes // 2**20
            )
            self._say(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, say(too_large, gate.language))
            return
        body = _Body(self.rfile, length)
        try:
            kept = gate.shelf.keep(cast("IO[bytes]", body), name, most_bytes=gate.most_bytes)
        except InputError as mistake:
            self._say(HTTPStatus.BAD_REQUEST, say(mistake.message, gate.language))
            return
        self._say(HTTPStatus.OK, gate.arrived(kept.sha256))

    def _is_ours(self) -> bool:
        """Refuse requests that name another host: a page elsewhere must not reach this door."""
        host = urlsplit(f"//{self.headers.get('Host', '')}").hostname
        if host == self._gate.address:
            return True
        self._answer(HTTPStatus.MISDIRECTED_REQUEST, "phone.nothing_here")
        return False

    def _answer(self, status: HTTPStatus, key: str) -> None:
        self._say(status, say(message(key), self._gate.language))

    def _say(self, status: HTTPStatus, text: str) -> None:
        body = text.encode()
        self.send_response(status)
        self.send_header("Content-Type", "text/plain; charset=utf-8")
        self._finish_headers(len(body))
        self.wfile.write(body)

    def _finish_headers(self, length: int) -> None:
        self.send_header("Content-Length", str(length))
        self.send_header("Cache-Control", "no-store")
        self.send_header("X-Content-Type-Options", "nosniff")
        self.send_header("X-Frame-Options", "DENY")
        self.end_headers()

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002 - its name there
        """Say nothing: the terminal belongs to the coach."""


class _Body:
    """The part of a connection that is the film."""

    def __init__(self, stream: BufferedIOBase, length: int) -> None:
        self._stream, self._left = stream, length

    def read(self, size: int) -> bytes:
        """Give the next piece; a connection that breaks off is an error, not the film's end."""
        piece = self._stream.read(min(size, self._left))
        self._left -= len(piece)
        if not piece and self._left:
            raise ConnectionError("the connection broke off")
        return piece


@cache
def _template() -> str:
    return (files("ui") / "phone_page.html").read_text("utf-8")


def page_html(language: str, nonce: str) -> str:
    """Write the page that the phone sees.

    Parameters
    ----------
    language
        Two letters.
    nonce
        Lets this page's script run, and no other.

    Returns
    -------
    str
        HTML.
    """
    names = ("title", "intro", "code", "film", "send", "sending")
    words = {name: escape(say(message(f"phone.page_{name}"), language)) for name in names}
    lost = json.dumps(say(message("phone.page_lost"), language)).replace("<", "\\u003c")
    return _template().format(language=language, nonce=nonce, lost=lost, **words)
