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
from pathlib import Path
from typing import IO, Literal

import platformdirs

from classify.clip_store import safe_name, stored_name, write_card, write_lasting
from classify.logbook_file import now
from tracker.types import InputError

FOLDER_VARIABLE = "TAILSWAY_FOLDER"
PIECE_BYTES = 1 << 20

NoteKind = Literal["known", "which", "click", "face", "ends", "opinion"]


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
    removed
        Whether the coach took it out of the list; whoever has its address still finds it.
    """

    sha256: str
    name: str
    path: Path
    added: str
    removed: bool = False


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
        Its two places are made when something is put there, so that a folder that cannot be
        written can still be read.
    """

    def __init__(self, folder: Path) -> None:
        self._clips = folder / "clips"
        self._notes = folder / "clip-notes"

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
            The same clip again if it was on the shelf already; one that was removed is back.

        Raises
        ------
        InputError
            If it is empty or too large, or cannot be written.
        """
        digest, size = hashlib.sha256(), 0
        try:
            self._clips.mkdir(parents=True, exist_ok=True)
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
                part.flush()
                os.fsync(part.fileno())
            if size == 0:
                raise InputError("pages.upload_empty", name=name)
            return self._settle(beside, digest.hexdigest(), name)
        except OSError as mistake:
            raise _unwritten(self._clips, mistake) from None
        finally:
            if "beside" in locals():
                beside.unlink(missing_ok=True)

    def _settle(self, part: Path, sha256: str, name: str) -> ShelvedClip:
        known = self.clip(sha256)
        if known is not None and known.removed:
            self.bring_back(sha256)
            return self.clip(sha256) or known
        if known is not None:
            return known
        plain = safe_name(name)
        file = stored_name(sha256, plain)
        part.replace(self._clips / file)
        # A card whose film is gone, or that a power cut broke, is written again.
        (self._clips / f"{sha256}.json").unlink(missing_ok=True)
        write_card(self._clips, sha256, plain, file)
        kept = self.clip(sha256)
        if kept is None:
            raise OSError(5, "the film is not there after it was written")
        return kept

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
        try:
            said = json.loads(facts.read_text(encoding="utf-8"))
            file, name, added = str(said["file"]), str(said["name"]), str(said["added"])
            removed = "removed" in said
        except (OSError, ValueError, KeyError, TypeError):
            return None  # broken by a power cut; giving the film again writes it anew
        path = self._clips / file
        if Path(file).name != file or not path.is_file():
            return None
        return ShelvedClip(sha256=sha256, name=name, path=path, added=added, removed=removed)

    def clips(self) -> list[ShelvedClip]:
        """List the clips.

        Returns
        -------
        list of ShelvedClip
            The newest first, without those that were removed.
        """
        found = (self.clip(facts.stem) for facts in self._clips.glob("*.json"))
        return sorted(
            (clip for clip in found if clip is not None and not clip.removed),
            key=lambda clip: clip.added,
            reverse=True,
        )

    def remove(self, sha256: str) -> None:
        """Take a clip out of the list; its film stays, since the logbook may rest on it.

        Parameters
        ----------
        sha256
            Hash of its content.

        Raises
        ------
        InputError
            If that cannot be written; it is in the list as before then.
        """
        self._write_removed(sha256, now())

    def bring_back(self, sha256: str) -> None:
        """Put a clip that was removed into the list again.

        Parameters
        ----------
        sha256
            Hash of its content.

        Raises
        ------
        InputError
            If that cannot be written.
        """
        self._write_removed(sha256, None)

    def _write_removed(self, sha256: str, when: str | None) -> None:
        if self.clip(sha256) is None:
            return
        card = self._clips / f"{sha256}.json"
        try:
            said = json.loads(card.read_text(encoding="utf-8"))
            said.pop("removed", None)
            if when is not None:
                said["removed"] = when
            write_lasting(card, json.dumps(said, ensure_ascii=False) + "\n")
        except OSError as mistake:
            raise _unwritten(card, mistake) from None

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

        Raises
        ------
        InputError
            If it cannot be written; nothing was kept then.
        """
        add_line(self._notes / f"{sha256}.jsonl", {"when": now(), "kind": kind, "said": dict(said)})

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


def add_line(path: Path, content: Mapping[str, object]) -> None:
    """Add a line to a file of lines; it is on the disk when this returns, or not there at all.

    Parameters
    ----------
    path
        Of the file; it and its folder are made if they are missing.
    content
        Becomes one line of JSON.

    Raises
    ------
    InputError
        If it cannot be written.
    """
    line = (json.dumps(content, ensure_ascii=False) + "\n").encode()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("ab", buffering=0) as stream:
            # A line cut off by a power cut or a full disk must not swallow the next one.
            whole = line if _ends_whole(path) else b"\n" + line
            if stream.write(whole) != len(whole):
                raise OSError(28, os.strerror(28))
            os.fsync(stream.fileno())
    except OSError as mistake:
        raise _unwritten(path, mistake) from None


def _ends_whole(path: Path) -> bool:
    with path.open("rb") as stream:
        if stream.seek(0, os.SEEK_END) == 0:
            return True
        stream.seek(-1, os.SEEK_END)
        return stream.read(1) == b"\n"


def _unwritten(path: Path, mistake: OSError) -> InputError:
    reason = mistake.strerror or str(mistake)
    return InputError("command.cannot_keep", path=str(path), reason=reason)


def _read_notes(path: Path) -> Iterator[Note]:
    for line in path.read_text(encoding="utf-8", errors="replace").splitlines():
        try:
            said = json.loads(line)
            yield Note(when=said["when"], kind=said["kind"], said=said["said"])
        except (ValueError, KeyError, TypeError):
            continue  # a line that a machine that lost power did not finish
