"""`tailsway open`: starts the dashboard for this computer alone and opens the browser."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
import webbrowser
from pathlib import Path
from types import FrameType
from urllib.error import URLError
from urllib.request import urlopen

import click

from tracker.types import InputError, message
from ui.command_words import VARIABLE, help_words, language_of, language_option
from ui.theme import theme_flags
from ui.words import say

HOST = "127.0.0.1"
HOSTS = (HOST, "localhost")
UPLOAD_LIMIT_MB = 1024
_READY_WITHIN_S = 60.0
_STOP_WITHIN_S = 5.0


@click.command("open", help=help_words("help_open"))
@click.option("--port", type=click.IntRange(1, 65535), help=help_words("help_port"))
@click.option("--no-browser", is_flag=True, help=help_words("help_no_browser"))
@language_option
@click.pass_context
def open_dashboard(ctx: click.Context, port: int | None, no_browser: bool) -> None:
    """Serve the dashboard until it is stopped."""
    language = language_of(ctx)
    chosen = free_port() if port is None else port
    if not is_free(chosen):
        raise InputError("command.port_taken", port=str(chosen))
    url = f"http://{HOST}:{chosen}"
    # Whoever ends the command ends the server with it.
    signal.signal(signal.SIGTERM, _leave)
    server = subprocess.Popen(  # noqa: S603 - our own interpreter with arguments of our own
        server_command(chosen),
        env={**os.environ, VARIABLE: language},
        # Its own greeting names an address, too, before anything answers there.
        stdout=subprocess.DEVNULL,
    )
    try:
        wait_until_ready(url, server)
        click.echo(say(message("command.opened", url=url), language))
        if not no_browser:
            webbrowser.open(url)
        server.wait()
    finally:
        _stop(server)


def _leave(_number: int, _frame: FrameType | None) -> None:
    raise KeyboardInterrupt


def _stop(server: subprocess.Popen[bytes]) -> None:
    """End the server; one that waits for an open page to close is not waited for."""
    server.terminate()
    try:
        server.wait(timeout=_STOP_WITHIN_S)
    except subprocess.TimeoutExpired:
        server.kill()
        server.wait()


def server_command(port: int) -> list[str]:
    """Write the command that serves the dashboard; every setting that matters is passed here.

    Streamlit reads its settings file from the working directory, which is the coach's own, so
    nothing can be left to a file.

    Parameters
    ----------
    port
        To serve on.

    Returns
    -------
    list of str
        Program and arguments.
    """
    settings = {
        "server.address": HOST,
        "server.port": str(port),
        "server.headless": "true",
        "server.maxUploadSize": str(UPLOAD_LIMIT_MB),
        "server.fileWatcherType": "none",
        "server.enableXsrfProtection": "true",
        "server.enableCORS": "true",
        "browser.gatherUsageStats": "false",
        "client.showErrorDetails": "none",
        "client.toolbarMode": "minimal",
        # One thread draws the pages of a session and hears of the next press between its steps: a
        # second one beside it can lose its press to the end of the first.
        "runner.fastReruns": "false",
        "logger.level": "warning",
        **theme_flags(),
    }
    page = Path(__file__).with_name("served_app.py")
    flags = [f"--{name}={value}" for name, value in settings.items()]
    # A list is given by naming it again for each of its values.
    flags += [f"--server.allowedHosts={host}" for host in HOSTS]
    # Without -P a file in the coach's folder could pass for a library.
    return [sys.executable, "-P", "-m", "ui.served", "run", str(page), *flags]


def free_port() -> int:
    """Find a free port.

    Returns
    -------
    int
        Free a moment ago.
    """
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        return int(probe.getsockname()[1])


def is_free(port: int) -> bool:
    """Tell whether nobody serves on a port.

    Parameters
    ----------
    port
        1 to 65535.

    Returns
    -------
    bool
        True if it can be bound.
    """
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError:
            return False
    return True


def wait_until_ready(url: str, server: subprocess.Popen[bytes]) -> None:
    """Wait until the dashboard answers.

    Parameters
    ----------
    url
        Where it will be.
    server
        Its process.

    Raises
    ------
    InputError
        If it stops or does not answer in time.
    """
    until = time.monotonic() + _READY_WITHIN_S
    while server.poll() is None and time.monotonic() < until:
        try:
            with urlopen(f"{url}/_stcore/health", timeout=1) as answer:  # noqa: S310 - our own
                if answer.status == 200:
                    return
        except (URLError, OSError):
            time.sleep(0.1)
    raise InputError("command.server_died")
