"""Films of the pages, fetched by the browser when it has drawn the rest.

A page's message would otherwise carry them as text, a third longer, and nothing of the page would
be seen before all of it had come.
"""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict

from starlette.requests import Request
from starlette.responses import Response

FILM_ROUTE = "/film/{name}"

MOST_KEPT = 64
"""Films of half a megabyte each."""

_lock = threading.Lock()
_films: OrderedDict[str, bytes] = OrderedDict()


def film_address(mp4: bytes) -> str:
    """Keep a film for the browser.

    Parameters
    ----------
    mp4
        The file's content.

    Returns
    -------
    str
        Address on this server; the same for the same content.
    """
    name = hashlib.sha256(mp4).hexdigest() + ".mp4"
    with _lock:
        _films[name] = mp4
        _films.move_to_end(name)
        while len(_films) > MOST_KEPT:
            _films.popitem(last=False)
    return FILM_ROUTE.format(name=name)


def film_response(request: Request) -> Response:
    """Answer the browser.

    Parameters
    ----------
    request
        For the address that `film_address` gave.

    Returns
    -------
    Response
        The film; 404 if it is kept no more.
    """
    with _lock:
        mp4 = _films.get(request.path_params["name"])
    if mp4 is None:
        return Response(status_code=404)
    # its name says what is in it
    headers = {"Cache-Control": "private, max-age=86400, immutable"}
    return Response(mp4, media_type="video/mp4", headers=headers)
