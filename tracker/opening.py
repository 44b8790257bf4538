"""Is this file a film at all, and is it whole? Answered before any picture is decoded.

What goes in is a path, what comes out is an open container with its video stream, or one sentence
on what the file is instead.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

import av
import av.container
import av.error
import av.video.stream

from tracker.file_name import name_of, printable
from tracker.outline import missing_bytes, most_samples
from tracker.types import InputError

LARGEST_SIDE_PX = 8192
MOST_FRAMES = 500_000
MOST_BYTES = 1 << 34
MOST_PIXELS = 10**12
"""In all frames together: half an hour of 1080p at 240 frames a second (chosen here)."""

MOST_SOUND_SAMPLES = 10_000_000
PIECE_BYTES = 1 << 20

CONTAINERS = "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,avi,mpegts,mp3,wav,flac,ogg,aac,aiff,amr"
"""Formats that are opened. Playlists and scripts are not: they would open other files."""

LIMITS = {"format_whitelist": CONTAINERS, "protocol_whitelist": "file"}

PHOTO_STARTS = (
    b"\xff\xd8\xff",  # JPEG
    b"\x89PNG",
    b"GIF8",
    b"BM",
    b"II*\x00",  # TIFF and most raw formats
    b"MM\x00*",
)
PHOTO_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"mif1", b"avif"}
"""Brands of ISO/IEC 23008-12 for single pictures."""


def sha256_of(path: Path) -> str:
    """Hash a file's content, read in pieces.

    Parameters
    ----------
    path
        Of the file.

    Returns
    -------
    str
        64 hexadecimal digits.
    """
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while piece := file.read(PIECE_BYTES):
            digest.update(piece)
    return digest.hexdigest()


def open_film(
    path: Path,
) -> tuple[av.container.InputContainer, av.video.stream.VideoStream]:
    """Open a film and choose its video stream.

    Parameters
    ----------
    path
        Of the file.

    Returns
    -------
    tuple
        Open container and its first video stream that is no cover picture.

    Raises
    ------
    InputError
        If there is no such file, or it is no film, or it is cut off.
    """
    size = check_file(path)
    if _is_photo(path):
        raise InputError("film.photo", path=name_of(path))
    _check_claims(path)
    missing = missing_bytes(path)
    try:
        # The prefix keeps a file called "concat:..." from being taken for more than its name.
        container = av.open(
            f"file:{path.resolve()}", metadata_errors="replace", container_options=LIMITS
        )
    except (av.error.FFmpegError, OSError, ValueError) as error:
        key = "film.cut_off" if missing else "film.not_a_film"
        raise InputError(key, path=name_of(path), bytes=size) from error
    try:
        if missing:
            raise InputError("film.cut_off", path=name_of(path), bytes=size)
        stream = _video_stream(container, name_of(path))
    except InputError:
        container.close()
        raise
    return container, stream


def check_file(path: Path) -> int:
    """Refuse what cannot be read at all, whatever is in it.

    Parameters
    ----------
    path
        Of what should be a film.

    Returns
    -------
    int
        Its size in bytes.

    Raises
    ------
    InputError
        If there is no such file, or it is a folder, empty, too large or closed to us.
    """
    try:
        if path.is_dir():
            raise InputError("film.directory", path=printable(str(path)))
        if not path.exists():
            raise InputError("film.missing_file", path=printable(str(path)))
        if not path.is_file():
            raise InputError("film.not_a_film", path=name_of(path))
        size = path.stat().st_size
        with path.open("rb"):
            pass
    except (OSError, ValueError) as error:
        raise InputError("film.unreadable", path=printable(str(path))) from error
    if size == 0:
        raise InputError("film.empty_file", path=name_of(path))
    if size > MOST_BYTES:
        gib = MOST_BYTES / (1 << 30)
        raise InputError("film.file_too_large", path=name_of(path), most_gib=gib)
    return size


def _check_claims(path: Path) -> None:
    """Refuse tables of absurd length: the decoding library would reserve memory for them first."""
    video, other = most_samples(path)
    if video > MOST_FRAMES or other > MOST_SOUND_SAMPLES:
        raise InputError("film.too_long", frames=max(video, other), most_frames=MOST_FRAMES)


def _is_photo(path: Path) -> bool:
    """Tell pictures by how they start, whatever they are called."""
    with path.open("rb") as file:
        head = file.read(12)
    if head[4:8] == b"ftyp":
        return head[8:12] in PHOTO_BRANDS
    return head.startswith(PHOTO_STARTS) or (head[:4] == b"RIFF" and head[8:12] == b"WEBP")


def _video_stream(container: av.container.InputContainer, name: str) -> av.video.stream.VideoStream:
    """First video stream that is no cover picture and that can be decoded."""
    videos = [
        stream
        for stream in container.streams.video
        if not stream.disposition & av.stream.Disposition.attached_pic
    ]
    if not videos:
        key = "film.sound_only" if container.streams.audio else "film.no_video"
        raise InputError(key, path=name)
    stream = videos[0]
    context = stream.codec_context
    if context is None:
        raise InputError("film.unknown_codec", path=name)
    check_size(context.width, context.height)
    if stream.frames > MOST_FRAMES:
        raise InputError("film.too_long", frames=stream.frames, most_frames=MOST_FRAMES)
    check_whole(stream.frames, context.width, context.height)
    return stream


def check_whole(frames: int, width: int, height: int) -> None:
    """Refuse films that are too large as a whole.

    Parameters
    ----------
    frames
        How many, as declared or counted so far.
    width, height
        Of the stored picture, in pixels.

    Raises
    ------
    InputError
        Above `MOST_PIXELS` in all frames together.
    """
    if frames * width * height > MOST_PIXELS:
        most_frames = MOST_PIXELS // (width * height)
        raise InputError("film.too_long", frames=frames, most_frames=most_frames)


def declared_end_s(
    container: av.container.InputContainer, stream: av.video.stream.VideoStream, first_s: float
) -> float | None:
    """When the pictures end by the container's word.

    Parameters
    ----------
    container, stream
        As opened.
    first_s
        Time of the first frame by the container's clock.

    Returns
    -------
    float or None
        Seconds from the first frame; None where only the sound may speak. Matroska's writers
        disagree whether a duration starts at zero or at the first frame: the shorter is taken.
    """
    if stream.duration is not None and stream.time_base is not None:
        return float(stream.duration * stream.time_base)
    match stream.metadata.get("DURATION", "").split(":"):
        case [hours, minutes, seconds]:
            try:
                end_s = 3600 * float(hours) + 60 * float(minutes) + float(seconds)
            except ValueError:
                return None
            return end_s - max(first_s, 0.0)
    if container.duration is None or len(container.streams) > 1:
        return None
    return container.duration / av.time_base - max(first_s, 0.0)


def check_size(width: int, height: int) -> None:
    """Refuse sizes no camera makes.

    Parameters
    ----------
    width, height
        Of the stored picture, in pixels.

    Raises
    ------
    InputError
        Above 8192 on a side.
    """
    if max(width, height) > LARGEST_SIDE_PX:
        raise InputError("film.too_large", width=width, height=height, largest=LARGEST_SIDE_PX)
