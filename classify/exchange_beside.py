"""What stands beside the logbook goes along in its zip file: notes on clips, answers, other clips.

Lines of notes and answers go in and come out as they are; those that a folder has already are not
doubled, and the order is that of the days on which they were written.
"""

from __future__ import annotations

import json
import re
import zipfile
from collections.abc import Collection, Mapping
from pathlib import Path
from typing import IO

from classify.clip_store import film_there, put_file, write_lasting
from classify.logbook_file import LogbookFile
from classify.logbook_rows import FILE
from tracker.types import InputError

FOLDERS = ("clip-notes", "clip-cards", "lessons")
MOST_BYTES = 32 << 20
_NOTES = re.compile(r"clip-notes/[0-9a-f]{64}\.jsonl")
_CARD = re.compile(r"clip-cards/(?P<sha256>[0-9a-f]{64})\.json")
_LESSONS = "lessons/lessons.jsonl"


def write_beside(book: LogbookFile, packed: zipfile.ZipFile, packed_clips: Collection[str]) -> int:
    """Pack what the logbook's tables do not know of.

    Parameters
    ----------
    book
        The logbook.
    packed
        Open to be written.
    packed_clips
        Hashes of the clips that are in it.

    Returns
    -------
    int
        How many clips were added.
    """
    for notes in sorted((book.folder / "clip-notes").glob("*.jsonl")):
        name = f"clip-notes/{notes.name}"
        if _NOTES.fullmatch(name):
            packed.write(notes, name)
    lessons = book.folder / "lessons.jsonl"
    if lessons.is_file():
        packed.write(lessons, _LESSONS)
    added = 0
    for card in sorted((book.folder / "clips").glob("*.json")):
        clip = _clip_of(card)
        if card.stem not in packed_clips and clip is not None:
            packed.write(card, f"clip-cards/{card.name}")
            packed.write(clip, f"clips/{card.stem}", zipfile.ZIP_STORED)
            added += 1
    return added


def _clip_of(card: Path) -> Path | None:
    """Find the film of a card; None if the card is broken or the film gone."""
    try:
        file = str(json.loads(card.read_text(encoding="utf-8"))["file"])
    except (OSError, ValueError, KeyError, TypeError):
        return None
    match = FILE.fullmatch(file)
    clip = card.with_name(file)
    return clip if match and match["sha256"] == card.stem and clip.is_file() else None


def check_beside(packed: zipfile.ZipFile, entries: Mapping[str, zipfile.ZipInfo]) -> None:
    """Refuse notes, answers and cards that could not be read afterwards, before any is kept.

    Parameters
    ----------
    packed, entries
        The zip file and what is in it.

    Raises
    ------
    InputError
        If one has another name or content.
    """
    for name, info in entries.items():
        if name.partition("/")[0] not in FOLDERS:
            continue
        card = _CARD.fullmatch(name)
        known = card or _NOTES.fullmatch(name) or name == _LESSONS
        if not known or (card and f"clips/{card['sha256']}" not in entries):
            raise InputError("logbook.zip_entry", name=name[:80])
        if info.file_size > MOST_BYTES:
            raise InputError("logbook.zip_bomb", name=name[:80])
        with packed.open(info) as stream:
            if card:
                _card_name(stream)
            else:
                _lines(stream.read().decode("utf-8"), strict=True)


def read_beside(
    book: LogbookFile, packed: zipfile.ZipFile, entries: Mapping[str, zipfile.ZipInfo]
) -> int:
    """Keep what `check_beside` found good.

    Parameters
    ----------
    book
        Into whose folder.
    packed, entries
        The zip file and what is in it.

    Returns
    -------
    int
        How many clips came with a card and were new.

    Raises
    ------
    InputError
        If a clip is not what its card says, or there is no room.
    """
    kept = 0
    try:
        for name, info in entries.items():
            if card := _CARD.fullmatch(name):
                new = not film_there(book.folder / "clips", card["sha256"])
                with packed.open(info) as said, packed.open(f"clips/{card['sha256']}") as clip:
                    put_file(book.folder / "clips", clip, _card_name(said), sha256=card["sha256"])
                kept += new
            elif _NOTES.fullmatch(name) or name == _LESSONS:
                with packed.open(info) as stream:
                    merge_lines(book.folder / name.removeprefix("lessons/"), stream.read())
    except OSError as error:
        reason = error.strerror or str(error)
        raise InputError("logbook.cannot_write", path=str(book.folder), reason=reason) from None
    return kept


def merge_lines(path: Path, content: bytes) -> None:
    """Bring lines together by the moment they were written; none twice.

    Parameters
    ----------
    path
        A file of lines, each an object with ``when``; made if it is missing.
    content
        Of another such file.

    Raises
    ------
    InputError
        If a line of the other file is none.
    """
    old = path.read_text(encoding="utf-8", errors="replace") if path.is_file() else ""
    there = _lines(old, strict=False)
    new = [line for line in _lines(content.decode("utf-8"), strict=True) if line not in there]
    if not new:
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    # sorting keeps the order of lines of one moment
    together = sorted([*there, *new], key=lambda line: str(json.loads(line)["when"]))
    write_lasting(path, "".join(f"{line}\n" for line in together))


def _lines(text: str, *, strict: bool) -> list[str]:
    """Give lines that are objects with a moment; a broken one is passed over, or refused."""
    good = []
    for line in text.split("\n"):
        try:
            if line and isinstance(json.loads(line)["when"], str):
                good.append(line)
                continue
        except (ValueError, KeyError, TypeError, RecursionError):
            pass
        if line and strict:
            raise InputError("logbook.does_not_fit", reason=f"notes: {line[:60]!r}")
    return good


def _card_name(stream: IO[bytes]) -> str:
    try:
        return str(json.loads(stream.read())["name"])
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise InputError("logbook.does_not_fit", reason=f"card: {error!r}"[:120]) from None
