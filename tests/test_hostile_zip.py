"""Refusal: a zip file is believed in nothing: names, sizes, doubles, values; one sentence each."""

from __future__ import annotations

import copy
import io
import json
import random
import struct
import warnings
import zipfile

import pytest

from classify import exchange, logbook
from classify.casebook import open_case
from classify.exchange import export_zip, import_zip
from classify.logbook_file import LogbookFile
from classify.logbook_undo import undo_delete
from classify.migrations import TABLES
from tests.made_logbook import made_logbook
from tracker.types import InputError


def empty(book) -> bool:
    """Whether no table has a row and no clip was kept."""
    with book.reading() as db:
        rows = sum(db.execute(f"SELECT count(*) FROM {name}").fetchone()[0] for name in TABLES)  # noqa: S608 fixed names
    clips = book.folder / "clips"
    return rows == 0 and not (clips.exists() and list(clips.iterdir()))


@pytest.fixture(scope="module")
def good(tmp_path_factory) -> bytes:
    """Give a whole exported logbook."""
    folder = tmp_path_factory.mktemp("good")
    book, *_ = made_logbook(folder / "a")
    export_zip(book, folder / "all.zip")
    return (folder / "all.zip").read_bytes()


def files_in(folder) -> list[str]:
    """Every file below a folder."""
    return sorted(str(path) for path in folder.rglob("*") if path.is_file())


def refused(tmp_path, content: bytes) -> str:
    """Import something that must be refused; give the key of the sentence."""
    path = tmp_path / "given.zip"
    path.write_bytes(content)
    book = LogbookFile(tmp_path / "coach")
    logbook.archers(book)
    around = files_in(tmp_path)
    with pytest.raises(InputError) as mistake:
        import_zip(book, path)
    assert empty(book)
    assert files_in(tmp_path) == around
    return mistake.value.message.key


def with_entry(good: bytes, name: str, content: bytes = b"x", **of_entry: int) -> bytes:
    """Add an entry."""
    out = io.BytesIO(good)
    with warnings.catch_warnings(), zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED) as packed:
        warnings.simplefilter("ignore", UserWarning)  # doubles are meant
        info = zipfile.ZipInfo(name)
        info.compress_type = zipfile.ZIP_DEFLATED
        for key, value in of_entry.items():
            setattr(info, key, value)
        packed.writestr(info, content)
    return out.getvalue()


def with_head(good: bytes, change) -> bytes:
    """Change what logbook.json says."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(good)) as old, zipfile.ZipFile(out, "w") as new:
        for info in old.infolist():
            content = old.read(info)
            if info.filename == "logbook.json":
                head = json.loads(content)
                content = change(head)
                if not isinstance(content, str | bytes):
                    content = json.dumps(head)
            new.writestr(info.filename, content)
    return out.getvalue()


@pytest.mark.parametrize(
    "name",
    [
        "logbook.json",  # a second one
        "csv/archers.csv",
        "C:/evil", "C:\\evil", "\\\\host\\share", "/logbook.json", "./logbook.json",
        "clips/../logbook.json", "clips/a/b", "clips//etc/passwd", "csv/", "clips/", "..",
        "~/.profile", "clips\x01/x", "LOGBOOK.JSON",
    ],
)  # fmt: skip
def test_names_that_climb_or_come_twice(tmp_path, good, name):
    """Absolute, climbing, of another system, a folder, or there already."""
    assert refused(tmp_path, with_entry(good, name)) == "logbook.zip_entry"


@pytest.mark.parametrize("kind", [0o120777, 0o060666, 0o020666, 0o010666, 0o140777])
def test_links_and_devices(tmp_path, good, kind):
    """A link, a device, a pipe, a socket: nothing but plain files is believed."""
    content = with_entry(good, "clips/x", b"/etc/passwd", external_attr=kind << 16, create_system=3)
    assert refused(tmp_path, content) == "logbook.zip_entry"


def central(content: bytes, name: bytes) -> int:
    """Where an entry's record in the list at the end begins."""
    at = content.index(b"PK\x01\x02")
    while True:
        size = struct.unpack_from("<H", content, at + 28)[0]
        if content[at + 46 : at + 46 + size] == name:
            return at
        at = content.index(b"PK\x01\x02", at + 4)


@pytest.mark.parametrize(
    ("field", "lie"),
    [(24, 1), (24, 40), (24, 10_000), (24, 2**31), (24, 2**32 - 2), (20, 1), (20, 40)],
)
def test_sizes_that_lie(tmp_path, good, field, lie):
    """Unpacked (24) or packed (20), in the list at the end, which is believed first."""
    content = bytearray(good)
    struct.pack_into("<I", content, central(content, b"logbook.json") + field, lie)
    assert refused(tmp_path, bytes(content)) in ("logbook.zip_bomb", "logbook.no_zip")


def test_a_clip_whose_size_lies(tmp_path, good):
    """The hash tells."""
    content = bytearray(good)
    with zipfile.ZipFile(io.BytesIO(good)) as packed:
        (name,) = [n for n in packed.namelist() if n.startswith("clips/")]
    for field in (20, 24):
        struct.pack_into("<I", content, central(content, name.encode()) + field, 40)
    assert refused(tmp_path, bytes(content)) in ("logbook.clip_hash", "logbook.no_zip")


def test_many_names_for_the_same_bytes(tmp_path, good, monkeypatch):
    """Entries that share their bytes unpack to more than the file could hold: refused unread."""
    monkeypatch.setattr(exchange, "MOST_RATIO", 20.0)
    content = good
    for k in range(30):
        content = with_entry(content, f"clips/{k}", bytes(1 << 20))
    shared = bytearray(content)
    first = central(shared, b"clips/0")
    offset = struct.unpack_from("<I", shared, first + 42)[0]
    for k in range(30):
        at = central(shared, f"clips/{k}".encode())
        struct.pack_into("<I", shared, at + 42, offset)
        struct.pack_into("<II", shared, at + 20, 1 << 19, 1 << 20)
    assert refused(tmp_path, bytes(shared)) == "logbook.zip_bomb"


def test_a_bomb_of_json(tmp_path, good):
    """A table of nothing but spaces, or lists in lists."""
    assert refused(tmp_path, with_head(good, lambda _: b"[" * 200_000)) == "logbook.no_zip"
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("logbook.json", b" " * (40 << 20))
    assert refused(tmp_path, out.getvalue()) == "logbook.zip_bomb"


def test_too_many_entries(tmp_path, good, monkeypatch):
    """Counted before they are looked at."""
    monkeypatch.setattr(exchange, "MOST_FILES", 5)
    assert refused(tmp_path, good) == "logbook.zip_too_many"


def test_no_room_for_its_films(tmp_path, good, monkeypatch):
    """Known before anything is unpacked."""
    monkeypatch.setattr(exchange.shutil, "disk_usage", lambda _: type("Usage", (), {"free": 100}))
    assert refused(tmp_path, good) == "logbook.zip_no_room"


def set_to(table, column, value):
    """Change one value of a table's first row."""

    def change(head):
        head["tables"][table][0][column] = value

    return change


@pytest.mark.parametrize(
    "change",
    [
        set_to("archers", "name", 10**30),
        set_to("archers", "name", ""),
        set_to("archers", "name", "\ud800"),
        set_to("archers", "name", None),
        set_to("archers", "name", True),
        set_to("archers", "name", ["x"]),
        set_to("archers", "id", {"x": 1}),
        set_to("versions", "number", 10**30),
        set_to("versions", "number", 1.5),
        set_to("versions", "dated", "yesterday"),
        set_to("versions", "typed_json", '{"strands": "many"}'),
        set_to("evidence", "dated", "9999-99-99"),
        set_to("evidence", "payload_json", "null"),
        set_to("evidence", "kind", "rumour"),
        set_to("evidence", "clip_sha256", "0" * 64),
        set_to("decisions", "amount", float("nan")),
        set_to("decisions", "proposal_json", "[1]"),
        set_to("clips", "file", "a.mp4"),
        set_to("clips", "sha256", "x"),
        set_to("clips", "bytes", "many"),
        lambda head: head["tables"]["deletions"].append(
            {"id": "d", "of_table": "sqlite_master", "of_id": "x", "made_at": "", "undone_at": None}
        ),
        lambda head: head["tables"].update(archers={"a": 1}),
        lambda head: head["tables"].update(archers=[[1, 2]]),
        lambda head: head.update(tables=None),
        lambda _: "[]",
        lambda _: '"text"',
        lambda _: b"\xff\xfe",
        lambda _: "1e999",
    ],
)
def test_values_that_fit_no_logbook(tmp_path, good, change):
    """Endless numbers, half characters, other kinds, dates that are none: a sentence each."""
    assert refused(tmp_path, with_head(good, change)).partition(".")[0] in ("logbook", "tuning")


def test_another_archer_of_the_same_name(tmp_path, good):
    """Only one of them could be reached; both logbooks stay as they are."""
    book = LogbookFile(tmp_path / "coach")
    logbook.add_archer(book, "Ünal-7", hand=None)
    (tmp_path / "x.zip").write_bytes(good)
    with pytest.raises(InputError, match="zip_name_in_use"):
        import_zip(book, tmp_path / "x.zip")
    assert len(logbook.archers(book)) == 1


def _mutated(good: bytes, rng: random.Random) -> bytes:
    content = bytearray(good)
    for _ in range(rng.choice((1, 1, 3, 20))):
        at = rng.randrange(len(content))
        how = rng.randrange(4)
        if how == 0:
            content[at] ^= 1 << rng.randrange(8)
        elif how == 1:
            del content[at : at + rng.randrange(1, 200)]
        elif how == 2:
            content[at:at] = rng.randbytes(rng.randrange(1, 50))
        else:
            content[at : at + 4] = struct.pack("<I", rng.choice((0, 1, 2**31, 2**32 - 1)))
        if not content:
            return b""
    return bytes(content)


def _survives(tmp_path, good, count, seed):
    """Import mutated zips: each is a sentence, or a logbook that can be used."""
    rng = random.Random(seed)  # noqa: S311 chance, not secrets
    taken = 0
    for k in range(count):
        path = tmp_path / f"{k}.zip"
        path.write_bytes(_mutated(good, rng))
        book = LogbookFile(tmp_path / str(k))
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", UserWarning)
                import_zip(book, path)
        except InputError:
            assert empty(book)
            continue
        taken += 1
        _used(book)
    assert taken < count


def _used(book) -> None:
    """Do with a logbook what a page does."""
    for archer in logbook.archers(book):
        for bow in logbook.setups(book, archer):
            open_case(book, archer, bow.id)
    with book.reading() as db:
        assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"


def test_mutated_zips(tmp_path, good):
    """A dozen, with flipped, lost, added and lying bytes."""
    _survives(tmp_path, good, 12, seed=5)


@pytest.mark.long
@pytest.mark.parametrize("count", [250, pytest.param(1000, marks=pytest.mark.endurance)])
def test_many_mutated_zips(tmp_path, good, count):
    """Hundreds of them."""
    _survives(tmp_path, good, count, seed=6)


def _twisted(head, rng: random.Random) -> None:
    """Put strange values into strange places of the rows."""
    strange = [None, True, -1, 0, 1.5, 10**25, "", "x", "\ud800", "0", "{}", "[]", [], {}, "null",
               "2026-01-10", '{"a": [1e400]}', "\0", "9" * 5000]  # fmt: skip
    for _ in range(rng.choice((1, 2, 5))):
        rows = head["tables"][rng.choice(TABLES)]
        if rows:
            row = rng.choice(rows)
            row[rng.choice(sorted(row))] = rng.choice(strange)
            if rng.random() < 0.1:
                rows.append(copy.deepcopy(row))


@pytest.mark.parametrize("seed", range(3))
def test_rows_with_strange_values(tmp_path, good, seed):
    """Refused, or nothing that a page does with them fails otherwise than by a sentence."""
    rng = random.Random(seed)  # noqa: S311 chance, not secrets
    for k in range(4):
        path = tmp_path / f"{k}.zip"
        path.write_bytes(with_head(good, lambda head: _twisted(head, rng)))
        book = LogbookFile(tmp_path / str(k))
        try:
            import_zip(book, path)
        except InputError:
            assert empty(book)
            continue
        try:
            _used(book)
            undo_delete(book)
        except InputError:
            continue
