"""`tailsway open`: this computer alone, no telemetry, whatever the working directory says."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path
from urllib.error import HTTPError
from urllib.request import Request, urlopen

import pytest
from click.testing import CliRunner

from ui.command import main
from ui.command_open import HOST, free_port, is_free, server_command
from ui.theme import DARK, LIGHT


def luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour (std: WCAG 2.2)."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours (std: WCAG 2.2)."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])
def test_text_is_readable_in_the_sun(theme: dict[str, str]) -> None:
    """Text 12:1 or more on both grounds; every colour of a curve 4.5:1 or more (std: WCAG AA)."""
    for ground in ("backgroundColor", "secondaryBackgroundColor"):
        assert contrast(theme["textColor"], theme[ground]) >= 12
        for name in ("primaryColor", "linkColor", "blueColor", "orangeColor", "grayColor"):
            assert contrast(theme[name], theme[ground]) >= 4.5, name


def test_every_setting_that_matters_is_passed() -> None:
    """Nothing is left to a settings file of the working directory."""
    flags = server_command(8700)
    for flag in (
        f"--server.address={HOST}",
        "--server.port=8700",
        f"--server.allowedHosts={HOST}",
        "--server.allowedHosts=localhost",
        "--browser.gatherUsageStats=false",
        "--client.showErrorDetails=none",
        "--runner.fastReruns=false",
        "--server.enableXsrfProtection=true",
        "--server.enableCORS=true",
        "--server.maxUploadSize=1024",
    ):
        assert flag in flags
    assert not any("enableAgentApi" in flag for flag in flags)


def test_port_in_use_is_a_sentence() -> None:
    """Status 2, and the port is named."""
    with socket.socket() as taken:
        taken.bind((HOST, 0))
        taken.listen()
        port = taken.getsockname()[1]
        assert not is_free(port)
        done = CliRunner().invoke(main, ["open", "--no-browser", "--port", str(port)])
    assert done.exit_code == 2
    assert str(port) in done.stderr


def handshake(port: int, host: str) -> bytes:
    """Ask for the dashboard's live connection under a host name; give the status line."""
    with socket.create_connection((HOST, port), timeout=10) as plug:
        asked = (
            f"GET /_stcore/stream HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\n"
            "Upgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Version: 13\r\n"
            "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n"
        )
        plug.sendall(asked.encode())
        return plug.recv(64)


@pytest.mark.long
@pytest.mark.parametrize("ended_by", [signal.SIGINT, signal.SIGTERM])
def test_dashboard_is_served_here_alone_and_stops(tmp_path: Path, ended_by: signal.Signals) -> None:
    """It answers on this computer, refuses foreign host names, and ends with the command.

    A settings file in the working directory that opens everything changes nothing.
    """
    (tmp_path / ".streamlit").mkdir()
    (tmp_path / ".streamlit" / "config.toml").write_text(
        '[server]\naddress = "0.0.0.0"\nallowedHosts = ["*"]\n[browser]\ngatherUsageStats = true\n'
    )
    port = free_port()
    command = subprocess.Popen(
        [sys.executable, "-c", "from ui.command import main; main()", "open", "--no-browser",
         "--port", str(port)],
        cwd=tmp_path,
        env={**os.environ, "TAILSWAY_FOLDER": str(tmp_path)},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        # whoever runs the tests behind a shell has it ignored, and so would the command
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # noqa: PLW1509
    )  # fmt: skip
    try:
        assert command.stdout is not None
        line = ""
        until = time.monotonic() + 60
        while f"{HOST}:{port} and is served" not in line and time.monotonic() < until:
            line = command.stdout.readline()
        with urlopen(f"http://{HOST}:{port}/", timeout=10) as answer:
            assert answer.status == 200
        assert b" 101 " in handshake(port, f"{HOST}:{port}")
        assert b" 400 " in handshake(port, "elsewhere.example")
        with pytest.raises(HTTPError, match="400"):
            urlopen(Request(f"http://{HOST}:{port}/", headers={"Host": "elsewhere.example"}))
    finally:
        command.send_signal(ended_by)
        command.communicate(timeout=20)
    assert command.returncode in (0, 130)
    assert is_free(port)
