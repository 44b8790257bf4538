"""What the pages need is loaded while the browser still comes to the door.

Streamlit runs a page's script when the first browser asks for it, and only then would its libraries
be loaded, which takes a second or two. Here they are loaded as soon as the server starts, in a
thread of their own, and the process that reads films beside them.
"""

from __future__ import annotations

import logging
import threading
from functools import cache
from importlib import import_module

from classify.apart import warm_up
from ui.command_words import language_of_environment

_LOG = logging.getLogger("tailsway.dashboard")


@cache
def _loader() -> threading.Thread:
    # A thread that is cut off inside a library's own code takes the whole process down at its end.
    loader = threading.Thread(target=_load, daemon=False, name="loading")
    loader.start()
    return loader


def _load() -> None:
    try:
        warm_up()
        import_module("ui.dashboard")
    except Exception:  # the page that needs it will meet the same, and say so
        _LOG.info("loading ahead failed", exc_info=True)


def load_ahead() -> None:
    """Begin to load what the pages need, and do not wait for it."""
    _loader()


def newcomers_demo_ahead() -> None:
    """Read the first demo before the browser is there, for a coach who has no clips yet."""
    threading.Thread(target=_first_demo, daemon=False, name="first demo").start()


def _first_demo() -> None:
    wait_until_loaded()
    try:
        page_read, chooser = import_module("ui.page_read"), import_module("ui.clip_chooser")
        words = import_module("ui.dash_words")
        if not chooser.shelf().clips():
            page_read.first_demo_ahead(words.Words(language_of_environment()))
    except Exception:  # the page meets the same when it is asked, and says so
        _LOG.info("reading ahead failed", exc_info=True)


def wait_until_loaded() -> None:
    """Wait until what the pages need is loaded; begin if nobody has.

    Two threads that load the same libraries at once could get in each other's way.
    """
    _loader().join()
