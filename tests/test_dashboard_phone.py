"""The door for phones: shut by default, a code needed, films to disk in pieces, no other host."""

from __future__ import annotations

import hashlib
import http.client
import socket
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from urllib.parse import quote, urlsplit

import pytest

import ui.phone_gate
from ui.phone_gate import CODE_DIGITS, MOST_VISITS, MOST_WRONG, PhoneGate, page_html
from ui.shelf import Shelf
from ui.words import LANGUAGES

HERE = "127.0.0.1"


@pytest.fixture
def gate(tmp_path: Path) -> Iterator[PhoneGate]:
    """Give an open door on this computer alone."""
    made = PhoneGate(
        Shelf(tmp_path),
        HERE,
        most_bytes=3 * 2**20,
        arrived=lambda sha256: f"thanks {sha256[:8]}",
        language="en",
    )
    made.start()
    yield made
    made.stop()


def send(
    gate: PhoneGate, code: str, body: bytes, *, host: str | None = None, name: str = "clip.mov"
) -> tuple[int, str]:
    """Send a film as the phone's page does."""
    port = urlsplit(str(gate.url)).port
    connection = http.client.HTTPConnection(HERE, port, timeout=10)
    headers = {"X-Access-Code": code, "X-File-Name": quote(name)}
    if host is not None:
        headers["Host"] = host
    try:
        connection.request("PUT", "/film", body=body, headers=headers)
        answer = connection.getresponse()
        return answer.status, answer.read().decode()
    finally:
        connection.close()


def test_door_is_shut_until_it_is_opened(tmp_path: Path) -> None:
    """Making it opens no port."""
    made = PhoneGate(Shelf(tmp_path), HERE, most_bytes=1, arrived=str, language="en")
    assert made.url is None
    assert len(made.code) == CODE_DIGITS


def test_film_with_the_code_lands_on_the_shelf(gate: PhoneGate) -> None:
    """Byte for byte, under its own name."""
    film = bytes(range(256)) * 5000
    status, said = send(gate, gate.code, film, name="Flug ä.mov")
    sha256 = hashlib.sha256(film).hexdigest()
    assert (status, said) == (200, f"thanks {sha256[:8]}")
    kept = gate.shelf.clip(sha256)
    assert kept is not None
    assert kept.path.read_bytes() == film
    assert kept.name == "Flug ä.mov"


def test_door_shuts_by_itself(tmp_path: Path) -> None:
    """After its time nothing answers any more, and the right code is worth nothing."""
    made = PhoneGate(
        Shelf(tmp_path), HERE, most_bytes=9, arrived=str, language="en", open_for_s=0.05
    )
    made.start()
    port = int(str(made.url).rstrip("/").rpartition(":")[2])
    until = time.monotonic() + 10
    while made.url is not None and time.monotonic() < until:
        time.sleep(0.02)
    assert made.url is None
    with pytest.raises(OSError, match=r"refused|reset|timed out"):
        wait_refused(port)


def wait_refused(port: int) -> None:
    """Call until nobody answers; the socket is let go a moment after the address."""
    for _ in range(100):
        with socket.create_connection((HERE, port), timeout=1):
            time.sleep(0.05)


@pytest.mark.parametrize("code", ["", "00000000x", "ä", "0" * 400])
def test_wrong_code_is_refused_and_nothing_kept(gate: PhoneGate, code: str) -> None:
    """The film is not even read."""
    status, said = send(gate, code.encode("utf-8").decode("latin-1"), b"film")
    assert status == 403
    assert "code" in said
    assert gate.shelf.clips() == []


def test_guessing_shuts_the_door_even_for_the_right_code(
    gate: PhoneGate, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After five wrong codes the right one waits too, and works again afterwards."""
    wrong = "1" * CODE_DIGITS if gate.code != "1" * CODE_DIGITS else "2" * CODE_DIGITS
    for _ in range(MOST_WRONG):
        assert gate.check(wrong) == "phone.wrong_code"
    assert gate.check(gate.code) == "phone.shut"
    later = ui.phone_gate.time.monotonic() + ui.phone_gate.SHUT_S + 1
    monkeypatch.setattr(ui.phone_gate.time, "monotonic", lambda: later)
    assert gate.check(gate.code) is None


def test_another_host_name_is_refused(gate: PhoneGate) -> None:
    """A page elsewhere whose name is pointed here cannot use the door."""
    status, _ = send(gate, gate.code, b"film", host="elsewhere.example")
    assert status == 421
    assert gate.shelf.clips() == []


def test_too_large_a_film_is_refused_before_it_is_read(gate: PhoneGate) -> None:
    """The announced size decides."""
    with socket.create_connection((HERE, urlsplit(str(gate.url)).port or 0), timeout=10) as plug:
        head = (
            f"PUT /film HTTP/1.1\r\nHost: {HERE}\r\nX-Access-Code: {gate.code}\r\n"
            "X-File-Name: big.mp4\r\nContent-Length: 4000000\r\n\r\n"
        )
        plug.sendall(head.encode())
        assert b" 413 " in plug.recv(200)


def test_connection_that_breaks_off_leaves_nothing(gate: PhoneGate, tmp_path: Path) -> None:
    """Half a film is no film."""
    with socket.create_connection((HERE, urlsplit(str(gate.url)).port or 0), timeout=10) as plug:
        head = (
            f"PUT /film HTTP/1.1\r\nHost: {HERE}\r\nX-Access-Code: {gate.code}\r\n"
            "X-File-Name: half.mp4\r\nContent-Length: 1000\r\n\r\n"
        )
        plug.sendall(head.encode() + b"x" * 400)
        plug.shutdown(socket.SHUT_WR)
        plug.recv(1000)
    assert gate.shelf.clips() == []
    assert list((tmp_path / "clips").iterdir()) == []


@pytest.mark.parametrize(("path", "status"), [("/", 200), ("/film", 404), ("/../etc/passwd", 404)])
def test_only_the_page_is_served(gate: PhoneGate, path: str, status: int) -> None:
    """With a policy that lets no other script run."""
    connection = http.client.HTTPConnection(HERE, urlsplit(str(gate.url)).port, timeout=10)
    connection.request("GET", path)
    answer = connection.getresponse()
    assert answer.status == status
    answer.read()
    connection.close()
    if status == 200:
        assert "script-src 'nonce-" in answer.headers["Content-Security-Policy"]
        assert gate.code not in str(answer.headers)


@pytest.mark.parametrize("language", sorted(LANGUAGES))
def test_page_is_whole_in_every_language(language: str) -> None:
    """No field is left open, and the language is named."""
    page = page_html(language, "abc")
    assert f'lang="{language}"' in page
    assert "{" not in page.split("<body>")[1].split("<script")[0]


def test_code_is_compared_in_constant_time(
    gate: PhoneGate, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The standard library's own comparison decides, on all of both texts."""
    compared: list[tuple[bytes, bytes]] = []

    def compare(one: bytes, other: bytes) -> bool:
        compared.append((one, other))
        return one == other

    monkeypatch.setattr(ui.phone_gate.hmac, "compare_digest", compare)
    assert gate.check("x" + gate.code[1:]) == "phone.wrong_code"
    assert gate.check(gate.code) is None
    assert [len(one) for one, _ in compared] == [CODE_DIGITS, CODE_DIGITS]
    assert all(other == gate.code.encode() for _, other in compared)


def test_every_opening_has_a_code_of_its_own(tmp_path: Path) -> None:
    """Digits of chance, never the same twice, and worth nothing before and after it is open."""
    gates = [PhoneGate(Shelf(tmp_path), HERE, most_bytes=9, arrived=str, language="en")
             for _ in range(50)]  # fmt: skip
    assert len({made.code for made in gates}) == 50
    assert all(made.code.isdecimal() and len(made.code) == CODE_DIGITS for made in gates)
    made = gates[0]
    assert made.check(made.code) == "phone.expired"
    made.start()
    assert made.check(made.code) is None
    made.stop()
    assert made.check(made.code) == "phone.expired"


def test_a_connection_from_before_cannot_send_after_it_is_shut(gate: PhoneGate) -> None:
    """The right code on a connection that was opened in time is worth nothing afterwards."""
    port = urlsplit(str(gate.url)).port or 0
    with socket.create_connection((HERE, port), timeout=10) as plug:
        plug.sendall(f"PUT /film HTTP/1.1\r\nHost: {HERE}\r\n".encode())
        time.sleep(0.2)
        gate.stop()
        rest = f"X-Access-Code: {gate.code}\r\nX-File-Name: a.mp4\r\nContent-Length: 4\r\n\r\n"
        plug.sendall(rest.encode() + b"film")
        assert b" 403 " in plug.recv(200)
    assert gate.shelf.clips() == []


def test_guesses_over_the_network_are_slowed(gate: PhoneGate) -> None:
    """Five wrong codes, then even the right one is refused; nothing is kept."""
    wrong = "1" * CODE_DIGITS if gate.code != "1" * CODE_DIGITS else "2" * CODE_DIGITS
    said = [send(gate, code, b"film") for code in [wrong] * MOST_WRONG + [gate.code]]
    assert [status for status, _ in said] == [403] * (MOST_WRONG + 1)
    assert "Wait" in said[-1][1]
    assert gate.shelf.clips() == []


def test_no_more_visits_than_can_be_served(gate: PhoneGate) -> None:
    """Silent connections take their places only; the next is let go at once, and a place freed."""
    port = urlsplit(str(gate.url)).port or 0
    plugs = [socket.create_connection((HERE, port), timeout=10) for _ in range(MOST_VISITS)]
    time.sleep(0.3)
    with socket.create_connection((HERE, port), timeout=10) as late:
        late.sendall(f"GET / HTTP/1.1\r\nHost: {HERE}\r\n\r\n".encode())
        with suppress(ConnectionResetError):
            assert late.recv(100) == b""
    for plug in plugs:
        plug.close()
    until = time.monotonic() + 10
    status = 0
    while status != 200 and time.monotonic() < until:
        try:
            status, _ = send(gate, gate.code, b"film")
        except (OSError, http.client.HTTPException):
            time.sleep(0.05)
    assert status == 200


def test_a_code_may_be_typed_in_two_groups(gate: PhoneGate) -> None:
    """As eight digits are read out; a wrong one is no less wrong with a blank in it."""
    assert send(gate, f" {gate.code[:4]} {gate.code[4:]}", b"film")[0] == 200
    assert send(gate, f"{gate.code[4:]} {gate.code[:4]}x", b"film")[0] == 403


@pytest.mark.parametrize("name", ["a.txt", "x.json", "mp4", "/etc/passwd"])
def test_what_is_no_film_by_its_name_is_refused_at_the_door(gate: PhoneGate, name: str) -> None:
    """While the archer still holds the phone; nothing is kept."""
    status, said = send(gate, gate.code, b"hi", name=name)
    assert status == 415
    assert "no film by its name" in said
    assert gate.shelf.clips() == []


@pytest.mark.parametrize(
    "name",
    ["../../x.mp4", "/etc/passwd.mp4", "a\\..\\b.mp4", "x.json.MOV", "\x00.mp4", "<img>.mp4"],
)
def test_a_film_s_name_reaches_no_path(gate: PhoneGate, tmp_path: Path, name: str) -> None:
    """It is kept under its hash, in the folder of clips and nowhere else."""
    before = {path for path in tmp_path.rglob("*") if path.parent.name != "clips"}
    status, _ = send(gate, gate.code, b"film", name=name)
    assert status == 200
    (kept,) = gate.shelf.clips()
    assert kept.path.parent == tmp_path / "clips"
    assert kept.path.read_bytes() == b"film"
    assert kept.path.stem == hashlib.sha256(b"film").hexdigest()
    assert not set(kept.name) & set("/\\\0")
    after = {path for path in tmp_path.rglob("*") if path.parent.name != "clips"}
    assert {path.name for path in after - before} <= {"clips"}
