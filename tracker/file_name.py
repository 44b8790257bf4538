"""Names of files as they can be shown: a path goes in, text for any page or terminal comes out."""

from __future__ import annotations

from pathlib import Path


def name_of(path: Path) -> str:
    """Name of a file as it can be printed anywhere.

    Parameters
    ----------
    path
        Of the file.

    Returns
    -------
    str
        Without its folder, and without characters that no page or terminal takes.
    """
    return printable(path.name)


def printable(text: str) -> str:
    r"""Replace what no page or terminal takes.

    Parameters
    ----------
    text
        A name or a path, perhaps in bytes of another age.

    Returns
    -------
    str
        With a question mark for each such character.

    Examples
    --------
    >>> printable("Fl\\udcfcg\\x1b.mp4")
    'Fl?g?.mp4'
    """
    text = text.encode("utf-8", "replace").decode("utf-8")
    return "".join(letter if letter.isprintable() else "?" for letter in text)
