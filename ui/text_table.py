"""Lays out a table for a terminal."""

from __future__ import annotations

from collections.abc import Sequence


def table_lines(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    """Lay out a table.

    Parameters
    ----------
    heads
        Of the columns.
    rows
        Cells of each row, as many as heads.

    Returns
    -------
    list of str
        Heading, rule and rows, columns aligned.

    Examples
    --------
    >>> table_lines(["a", "bb"], [["ccc", "d"]])
    ['a    bb', '---  --', 'ccc  d']
    """
    widths = [max(len(line[k]) for line in [heads, *rows]) for k in range(len(heads))]

    def lay(line: Sequence[str]) -> str:
        cells = (cell.ljust(width) for cell, width in zip(line, widths, strict=True))
        return "  ".join(cells).rstrip()

    return [lay(heads), "  ".join("-" * width for width in widths), *(lay(line) for line in rows)]
