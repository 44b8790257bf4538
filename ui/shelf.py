"""The clips a coach gave to the dashboard, kept by the hash of their content.

Films are copied in pieces, never held whole in memory. What the coach says about a clip (what they
know, where the nock is, what they see) is appended to the clip's own file of notes, so that nothing
said is ever overwritten.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Literal

import platformdirs

from tracker.types import InputError

FOLDER_VARIABLE = "TAILSWAY_FOLDER"
PIECE_BYTES = 1 << 20

NoteKind = Literal["known", "click", "face", "ends", "opinion"]


@dataclass(frozen=True, kw_only=True)
class ShelvedClip:
    """One film on the shelf.

    Attributes
    ----------
    sha256
        Hash of the content.
    name
        As the coach's file was called.
    path
        Where it is kept.
    added
        When, ISO 8601 in UTC.
    """

    sha256: str
    name: str
    path: Path
    added: str


@dataclass(frozen=True, kw_only=True)
class Note:
    """Something a coach said about a clip.

    Attributes
    ----------
    when
        ISO 8601 in UTC.
    kind
        What it is about.
    said
        Texts by name.
    """

    when: str
    kind: NoteKind
    said: Mapping[str, str]


def data_folder() -> Path:
    """Tell where tailsway keeps the coach's things.

    Returns
    -------
    pathlib.Path
        The folder that the environment names, else the usual place of this system.
    """
    wanted = os.environ.get(FOLDER_VARIABLE)
    return Path(wanted) if wanted else platformdirs.user_data_path("tailsway")


class Shelf:
    """Clips and notes in one folder.

    Parameters
    ----------
    folder
        Made if it is missing.
    """

    def __init__(self, folder: Path) -> None:
        self._clips = folder / "clips"
        self._notes = folder / "clip-notes"
        for place in (self._clips, self._notes):
            place.mkdir(parents=True, exist_ok=True)

    def keep(self, stream: IO[bytes], name: str, *, most_bytes: int | None = None) -> ShelvedClip:
        """Copy a film onto the shelf, piece by piece.

        Parameters
        ----------
        stream
            The film.
        name
            As the coach calls it; only its last part is kept.
        most_bytes
            Refuse more than this.

        Returns
        -------
        ShelvedClip
            The same clip again if it was on the shelf already.

        Raises
        ------
        InputError
            If it is empty or too large, or cannot be written.
        """
        digest, size = hashlib.sha256(), 0
        try:
            with tempfile.NamedTemporaryFile(dir=self._clips, suffix=".part", delete=False) as part:
                beside = Path(part.name)
                while piece := stream.read(PIECE_BYTES):
                    size += len(piece)
                    if most_bytes is not None and size > most_bytes:
                        raise InputError(
                            "pages.upload_too_large", name=name, most_mb=most_bytes // 2**20
                        )
                    digest.update(piece)
                    part.write(piece)
            if size == 0:
                raise InputError("pages.upload_empty", name=name)
            return self._settle(beside, digest.hexdigest(), name)
        except OSError as mistake:
            reason = mistake.strerror or str(mistake)
            raise InputError("command.cannot_write", path=str(self._clips), reason=reason) from None
        finally:
            if "beside" in locals():
                beside.unlink(missing_ok=True)

    def _settle(self, part: Path, sha256: str, name: str) -> ShelvedClip:
        known = self.clip(sha256)
        if known is not None:
            return known
        plain = safe_name(name)
        path = self._clips / f"{sha256}{Path(plain).suffix.lower()}"
        facts = {"name": plain, "file": path.name, "added": _now()}
        part.replace(path)
        _write_line(self._clips / f"{sha256}.json", facts, mode="w")
        return ShelvedClip(sha256=sha256, name=plain, path=path, added=facts["added"])

    def clip(self, sha256: str) -> ShelvedClip | None:
        """Find a clip.

        Parameters
        ----------
        sha256
            Hash of its content.

        Returns
        -------
        ShelvedClip or None
            None if it is not here.
        """
        if not re.fullmatch(r"[0-9a-f]{64}", sha256):
            return None
        facts = self._clips / f"{sha256}.json"
        if not facts.is_file():
            return None
        said = json.loads(facts.read_text(encoding="utf-8"))
        path = self._clips / said["file"]
        if not path.is_file():
            return None
        return ShelvedClip(sha256=sha256, name=said["name"], path=path, added=said["added"])

    def clips(self) -> list[ShelvedClip]:
        """List the clips.

        Returns
        -------
        list of ShelvedClip
            The newest first.
        """
        found = (self.clip(facts.stem) for facts in self._clips.glob("*.json"))
        return sorted(
            (clip for clip in found if clip is not None),
            key=lambda clip: clip.added,
            reverse=True,
        )

    def note(self, sha256: str, kind: NoteKind, said: Mapping[str, str]) -> None:
        """Add to what was said about a clip.

        Parameters
        ----------
        sha256
            Hash of the clip; a demo clip has one too.
        kind
            What it is about.
        said
            Texts by name.
        """
        line = {"when": _now(), "kind": kind, "said": dict(said)}
        _write_line(self._notes / f"{sha256}.jsonl", line, mode="a")

    def notes(self, sha256: str) -> list[Note]:
        """Give all that was said about a clip.

        Parameters
        ----------
        sha256
            Hash of the clip.

        Returns
        -------
        list of Note
            The oldest first.
        """
        path = self._notes / f"{sha256}.jsonl"
        if not path.is_file():
            return []
        return list(_read_notes(path))

    def last(self, sha256: str, kind: NoteKind) -> Mapping[str, str] | None:
        """Give what holds now of one kind.

        Parameters
        ----------
        sha256
            Hash of the clip.
        kind
            What it is about.

        Returns
        -------
        Mapping or None
            The newest of that kind; None if nothing was said.
        """
        said = [note.said for note in self.notes(sha256) if note.kind == kind]
        return said[-1] if said else None


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


def file_sha256(path: Path) -> str:
    """Hash a file's content.

    Parameters
    ----------
    path
        Of the file.

    Returns
    -------
    str
        64 hexadecimal digits.
    """
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _read_notes(path: Path) -> Iterator[Note]:
    for line in path.read_text(encoding="utf-8").splitlines():
        try:
            said = json.loads(line)
        except json.JSONDecodeError:
            continue  # the last line of a machine that lost power
        yield Note(when=said["when"], kind=said["kind"], said=said["said"])


def _write_line(path: Path, content: Mapping[str, object], *, mode: Literal["a", "w"]) -> None:
    with path.open(mode, encoding="utf-8") as stream:
        stream.write(json.dumps(content, ensure_ascii=False) + "\n")
        stream.flush()
        os.fsync(stream.fileno())


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="milliseconds")
