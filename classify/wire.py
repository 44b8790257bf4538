"""Messages between the program and a process that reads films: a word, plain values, arrays.

Each is a line of JSON behind its length, followed by the bytes of the arrays it names. Lengths,
kinds of number and shapes are checked before a byte is read, since whoever writes may be at the
mercy of a hostile film.
"""

from __future__ import annotations

import json
import math
import struct
from dataclasses import dataclass
from typing import BinaryIO

import numpy as np

from classify.plain_values import Array, Plain, UnexpectedError

DTYPES = ("float64", "int64", "uint8")
MOST_TEXT_BYTES = 1 << 25
MOST_ARRAY_BYTES = 1 << 29
MOST_ARRAYS = 10_000
_LENGTH = struct.Struct(">I")


@dataclass(frozen=True, kw_only=True, eq=False)
class Said:
    """One message.

    Attributes
    ----------
    word
        What it is about.
    tree, arrays
        Its values, from `classify.plain_values.to_plain`.
    """

    word: str
    tree: Plain
    arrays: list[Array]


def send(stream: BinaryIO, word: str, tree: Plain, arrays: list[Array]) -> None:
    """Write a message.

    Parameters
    ----------
    stream
        Where to.
    word, tree, arrays
        As in `Said`; arrays of the kinds in `DTYPES`.

    Raises
    ------
    OSError
        If nobody listens any more.
    """
    rows = [np.ascontiguousarray(array) for array in arrays]
    about = [[array.dtype.name, list(array.shape)] for array in rows]
    text = json.dumps([word, tree, about]).encode("ascii")
    stream.write(_LENGTH.pack(len(text)))
    stream.write(text)
    for array in rows:
        stream.write(array.reshape(-1).view(np.uint8).data)
    stream.flush()


def receive(stream: BinaryIO) -> Said | None:
    """Read a message.

    Parameters
    ----------
    stream
        Where from.

    Returns
    -------
    Said or None
        None at the end of the stream, also in the middle of a message.

    Raises
    ------
    UnexpectedError
        If it is no message, or larger than any that is meant.
    """
    head = stream.read(_LENGTH.size)
    if len(head) < _LENGTH.size:
        return None
    length = _LENGTH.unpack(head)[0]
    if length > MOST_TEXT_BYTES:
        raise UnexpectedError(f"a text of {length} bytes")
    text = stream.read(length)
    if len(text) < length:
        return None
    try:
        word, tree, about = json.loads(text)
        shapes = [_shape(*one) for one in about]
    except (ValueError, TypeError, RecursionError) as error:
        raise UnexpectedError("no message") from error
    sizes = [dtype.itemsize * math.prod(shape) for dtype, shape in shapes]
    if not isinstance(word, str) or len(shapes) > MOST_ARRAYS or sum(sizes) > MOST_ARRAY_BYTES:
        raise UnexpectedError("no message of ours")
    arrays = []
    for (dtype, shape), size in zip(shapes, sizes, strict=True):
        content = stream.read(size)
        if len(content) < size:
            return None
        arrays.append(np.frombuffer(content, dtype=dtype).reshape(shape))
    return Said(word=word, tree=tree, arrays=arrays)


def _shape(name: object, sides: object) -> tuple[np.dtype[np.generic], tuple[int, ...]]:
    if name not in DTYPES or not isinstance(sides, list) or len(sides) > 4:
        raise UnexpectedError("an array of no kind that is meant")
    if any(type(side) is not int or not 0 <= side <= MOST_ARRAY_BYTES for side in sides):
        raise UnexpectedError("an array of no shape that is meant")
    return np.dtype(str(name)), tuple(sides)
