"""Clips beside the logbook, kept by the hash of their content: files go in, hashes come out."""

from __future__ import annotations

import hashlib
import json
import os
import re
import uuid
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from classify.logbook_file import LogbookFile, now
from classify.logbook_rows import FILE
from tracker.types import InputError

PIECE_BYTES = 1 << 20

FILM_TYPES = ("mp4", "mov", "m4v", "mkv", "webm", "avi", "3gp")
"""How the names of films end that are taken."""


def is_film_name(name: str) -> bool:
    """Tell whether a file is a film by its name, which is all that is known before it is read.

    Parameters
    ----------
    name
        Of the file.

    Returns
    -------
    bool
        Whether its end is one of `FILM_TYPES`.
    """
    return Path(name).suffix.lower().lstrip(".") in FILM_TYPES


@dataclass(frozen=True, kw_only=True)
class KeptClip:
    """A clip in the store.

    Attributes
    ----------
    sha256
        Hash of the content.
    name
        As the coach's file was called.
    path
        Where it stands.
    """

    sha256: str
    name: str
    path: Path


def keep_clip(book: LogbookFile, source: Path) -> KeptClip:
    """Copy a clip into the store; one that is there already is not copied again.

    Parameters
    ----------
    book
        The logbook.
    source
        Any file.

    Returns
    -------
    KeptClip
        On the disk when this returns.

    Raises
    ------
    InputError
        If the file cannot be read, is empty, or the store cannot be written.
    """
    try:
        with source.open("rb") as stream:
            return keep_stream(book, stream, source.name)
    except OSError as error:
        reason = error.strerror or str(error)
        raise InputError("logbook.cannot_copy", path=str(source), reason=reason) from None


def keep_stream(book: LogbookFile, stream: IO[bytes], name: str) -> KeptClip:
    """Copy a clip into the store from an open stream, piece by piece.

    Parameters
    ----------
    book
        The logbook.
    stream
        Its content.
    name
        As the coach calls it; only its last part is kept.

    Returns
    -------
    KeptClip
        On the disk when this returns.

    Raises
    ------
    InputError
        If it is empty.
    """
    clip, size = put_file(book.folder / "clips", stream, name)
    with book.writing() as db:
        db.execute(
            "INSERT OR IGNORE INTO clips VALUES (?, ?, ?, ?, ?)",
            (clip.sha256, clip.name, clip.path.name, size, now()),
        )
    return clip


def put_file(
    folder: Path, stream: IO[bytes], name: str, *, sha256: str | None = None
) -> tuple[KeptClip, int]:
    """Put a clip's content into the store's folder under its hash, without telling the logbook.

    Parameters
    ----------
    folder
        Of the store; made if it is missing.
    stream
        The content.
    name
        As the coach calls it; only its last part is kept.
    sha256
        What the hash must be, if that is known.

    Returns
    -------
    KeptClip
        Where it stands.
    int
        Its size in bytes.

    Raises
    ------
    InputError
        If it is empty, or its hash is another.
    """
    folder.mkdir(parents=True, exist_ok=True)
    part = folder / f"{uuid.uuid4().hex}.part"
    digest, size = hashlib.sha256(), 0
    try:
        with part.open("wb") as copy:
            while piece := stream.read(PIECE_BYTES):
                digest.update(piece)
                size += len(piece)
                copy.write(piece)
            copy.flush()
            os.fsync(copy.fileno())
        found = digest.hexdigest()
        if size == 0:
            raise InputError("logbook.empty_clip", name=name)
        if sha256 is not None and found != sha256:
            raise InputError("logbook.clip_hash", name=name)
        plain = safe_name(name)
        file = stored_name(found, plain)
        part.replace(folder / file)
        write_card(folder, found, plain, file)
    finally:
        part.unlink(missing_ok=True)
    return KeptClip(sha256=found, name=plain, path=folder / file), size


def safe_name(name: str) -> str:
    """Reduce a file's name to what can be shown and kept.

    Parameters
    ----------
    name
        As it arrived.

    Returns
    -------
    str
        The last part, without control characters, at most 120 long; never empty.

    Examples
    --------
    >>> safe_name("../../etc/passwd")
    'passwd'
    """
    last = re.split(r"[/\\]", name)[-1]
    plain = "".join(letter for letter in last if letter.isprintable()).strip(". ")
    return plain[-120:] or "clip"


def film_there(folder: Path, sha256: str) -> bool:
    """Tell whether the store has a clip's film.

    Parameters
    ----------
    folder
        Of the store.
    sha256
        Of its content, in hexadecimal digits.

    Returns
    -------
    bool
        Whether a file of that name stands there; its card alone does not count.
    """
    return any(FILE.fullmatch(one.name) for one in folder.glob(f"{sha256}*"))


def stored_name(sha256: str, name: str) -> str:
    """Tell what a clip's file in the store is called: the hash, and nothing else of the name.

    Parameters
    ----------
    sha256
        Of its content.
    name
        As the coach calls it; an ending that looks like a film's is kept.

    Returns
    -------
    str
        Name of a file, never a path.

    Examples
    --------
    >>> stored_name("0" * 64, "a.MOV") == "0" * 64 + ".mov"
    True
    """
    file = sha256 + Path(name).suffix.lower()
    return file if FILE.fullmatch(file) else sha256


def write_card(folder: Path, sha256: str, name: str, file: str) -> None:
    """Write a clip's card beside it, by which the dashboard's shelf finds it; an old one stays.

    Parameters
    ----------
    folder
        Of the store.
    sha256, name, file
        Hash of the clip, what the coach calls it, its file in the store.
    """
    card = folder / f"{sha256}.json"
    if not card.exists():
        text = json.dumps({"name": name, "file": file, "added": now()}, ensure_ascii=False)
        write_lasting(card, text + "\n")
    settle(folder)


def write_lasting(path: Path, content: str | bytes) -> None:
    """Write a small file whole or not at all, through a full disk and a loss of power.

    Parameters
    ----------
    path
        Replaced if it is there.
    content
        Bytes, or a text to be kept as UTF-8.
    """
    part = path.with_name(f"{uuid.uuid4().hex}.part")
    try:
        with part.open("wb") as stream:
            stream.write(content.encode("utf-8") if isinstance(content, str) else content)
            stream.flush()
            os.fsync(stream.fileno())
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def settle(folder: Path) -> None:
    """Make renames in a folder last through a loss of power, where the system can."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def find_clip(book: LogbookFile, sha256: str) -> KeptClip | None:
    """Find a clip by its hash.

    Parameters
    ----------
    book
        The logbook.
    sha256
        Of its content.

    Returns
    -------
    KeptClip or None
        None if the logbook does not know it or its file is gone.
    """
    with book.reading() as db:
        row = db.execute("SELECT * FROM clips WHERE sha256 = ?", (sha256,)).fetchone()
    if row is None:
        return None
    path = book.folder / "clips" / row["file"]
    if not path.is_file():
        return None
    return KeptClip(sha256=row["sha256"], name=row["name"], path=path)
