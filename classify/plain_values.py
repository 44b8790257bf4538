"""Values of our own types go in, plain JSON and arrays come out, and the way back.

The way back is told by the type that is expected, never by what the other side says it sends, and
nothing that arrives is ever run: whoever sends can choose numbers and texts, and nothing else.
"""

from __future__ import annotations

import dataclasses
import types
import typing
from collections.abc import Mapping
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt

Plain = None | bool | int | float | str | list["Plain"] | dict[str, "Plain"]
"""What JSON can say, with infinities and NaN."""

Array = npt.NDArray[Any]
Made = TypeVar("Made")

_PLAIN_TYPES = (bool, int, float, str)


class UnexpectedError(ValueError):
    """What arrived is not of the type that was expected."""


def to_plain(value: object, arrays: list[Array]) -> Plain:  # noqa: PLR0911 - one line for each kind
    """Take a value apart.

    Parameters
    ----------
    value
        A dataclass, mapping, sequence, array, fraction, path, number, text or None, and any nest
        of them.
    arrays
        Its arrays are added here; in the tree each stands as ``{"array": number}``.

    Returns
    -------
    Plain
        For JSON.

    Raises
    ------
    TypeError
        For a value of another kind: a mistake in the code.

    Examples
    --------
    >>> to_plain({"hz": Fraction(240, 1), "frames": (1, 2)}, [])
    {'hz': '240/1', 'frames': [1, 2]}
    """
    if value is None or isinstance(value, bool | int | float | str):
        # Numbers of numpy that are also Python's own are made Python's own.
        return value if value is None else _own(value)
    if isinstance(value, np.ndarray):
        arrays.append(value)
        return {"array": len(arrays) - 1}
    if isinstance(value, np.generic):
        return to_plain(value.item(), arrays)
    if isinstance(value, Fraction):
        return f"{value.numerator}/{value.denominator}"
    if isinstance(value, Path):
        return str(value)
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        names = [field.name for field in dataclasses.fields(value)]
        return {name: to_plain(getattr(value, name), arrays) for name in names}
    if isinstance(value, Mapping):
        return {str(name): to_plain(part, arrays) for name, part in value.items()}
    if isinstance(value, list | tuple):
        return [to_plain(part, arrays) for part in value]
    raise TypeError(f"no plain form for {type(value).__name__}")


def _own(value: bool | float | str) -> Plain:
    for kind in _PLAIN_TYPES:
        if isinstance(value, kind):
            return kind(value)
    raise TypeError(f"no plain form for {type(value).__name__}")


def from_plain(kind: type[Made], tree: Plain, arrays: list[Array]) -> Made:
    """Put a value together again.

    Parameters
    ----------
    kind
        The type that is expected.
    tree, arrays
        From `to_plain`.

    Returns
    -------
    Made
        Of that type throughout.

    Raises
    ------
    UnexpectedError
        If anything in it is of another type than declared, or a type refuses its values.

    Examples
    --------
    >>> from_plain(Fraction, "240/1", [])
    Fraction(240, 1)
    """
    try:
        made: Made = _expect(kind, tree, arrays)
    except UnexpectedError:
        raise
    except (ValueError, TypeError, ArithmeticError, LookupError, RecursionError) as error:
        raise UnexpectedError(str(error)) from error
    return made


def _expect(kind: Any, tree: Plain, arrays: list[Array]) -> Any:  # noqa: ANN401, PLR0911 - a type hint has no type; one line for each kind
    origin, parts = typing.get_origin(kind), typing.get_args(kind)
    if origin in (typing.Union, types.UnionType):
        return _one_of(parts, tree, arrays)
    if origin is typing.Literal:
        if isinstance(tree, str) and tree in parts:
            return tree
        raise UnexpectedError(f"{tree!r} is none of {parts}")
    if origin is np.ndarray:
        return _array(np.dtype(typing.get_args(parts[1])[0]), tree, arrays)
    if origin is tuple:
        return _row(parts, tree, arrays)
    if isinstance(origin, type) and issubclass(origin, Mapping):
        pairs = _dict(tree).items()
        return {_expect(parts[0], k, arrays): _expect(parts[1], v, arrays) for k, v in pairs}
    if kind is object:
        return _scalar(tree)
    if isinstance(kind, type) and dataclasses.is_dataclass(kind):
        return _dataclass(kind, _dict(tree), arrays)
    if kind is Fraction:
        over, _, under = _exactly(str, tree).partition("/")
        return Fraction(int(over), int(under))
    if kind is Path:
        return Path(_exactly(str, tree))
    if kind is float:
        return float(tree) if type(tree) is int else _exactly(float, tree)
    return _exactly(kind, tree)


def _exactly(kind: type[Made], tree: Plain) -> Made:
    if kind not in (*_PLAIN_TYPES, types.NoneType) or type(tree) is not kind:
        raise UnexpectedError(f"{type(tree).__name__} instead of {kind}")
    return tree


def _scalar(tree: Plain) -> Plain:
    if isinstance(tree, list | dict):
        raise UnexpectedError("a nest instead of a plain value")
    return tree


def _one_of(kinds: tuple[Any, ...], tree: Plain, arrays: list[Array]) -> object:
    # A whole number stays one where both kinds of number will do.
    for kind in sorted(kinds, key=lambda kind: kind is float):
        try:
            return _expect(kind, tree, arrays)
        except UnexpectedError:
            continue
    raise UnexpectedError(f"{type(tree).__name__} is none of {kinds}")


def _row(parts: tuple[Any, ...], tree: Plain, arrays: list[Array]) -> object:
    if not isinstance(tree, list):
        raise UnexpectedError(f"{type(tree).__name__} instead of a row")
    kinds = [parts[0]] * len(tree) if parts[-1] is Ellipsis else list(parts)
    if len(kinds) != len(tree):
        raise UnexpectedError(f"{len(tree)} values instead of {len(kinds)}")
    return tuple(_expect(kind, part, arrays) for kind, part in zip(kinds, tree, strict=True))


def _dict(tree: Plain) -> dict[str, Plain]:
    if not isinstance(tree, dict):
        raise UnexpectedError(f"{type(tree).__name__} instead of names and values")
    return tree


def _array(dtype: np.dtype[Any], tree: Plain, arrays: list[Array]) -> Array:
    number = _exactly(int, _dict(tree).get("array"))
    if not 0 <= number < len(arrays) or arrays[number].dtype != dtype:
        raise UnexpectedError("no array of the kind that is expected")
    return arrays[number]


@cache
def _kinds_of(kind: type) -> dict[str, Any]:
    hints = typing.get_type_hints(kind)
    fields = dataclasses.fields(kind)
    return {field.name: hints[field.name] for field in fields}


def _dataclass(kind: type, tree: dict[str, Plain], arrays: list[Array]) -> object:
    kinds = _kinds_of(kind)
    if set(kinds) != set(tree):
        raise UnexpectedError(f"{sorted(tree)} instead of {sorted(kinds)}")
    return kind(**{name: _expect(kinds[name], tree[name], arrays) for name in kinds})
