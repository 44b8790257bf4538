"""The dashboard as Streamlit serves it: its page's script, films, and what stands at the door.

There reading is begun, and presses are let in one after the other.
"""

from __future__ import annotations

from pathlib import Path

from starlette.middleware import Middleware
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.routing import Route
from streamlit.starlette import App

from ui.asked_early import AskedEarly
from ui.command_open import HOSTS
from ui.films_served import FILM_ROUTE, film_response
from ui.in_turn import InTurn

app = App(
    Path(__file__).with_name("served_page.py"),
    routes=[Route(FILM_ROUTE, film_response)],
    middleware=[
        # a page of the network that claims another name for this computer gets nothing
        Middleware(TrustedHostMiddleware, allowed_hosts=HOSTS),
        Middleware(AskedEarly),
        Middleware(InTurn),
    ],
)
