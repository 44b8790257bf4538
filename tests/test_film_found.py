"""Files that the search led by coverage found (`tests/fuzz_metadata.py`), as small as they go."""

from __future__ import annotations

from pathlib import Path

import pytest

from tracker.decode import Reader
from tracker.types import InputError
from ui.words import say

FOUND = {
    "a header of Matroska longer than any place in a file": (
        b"\x1a\x45\xdf\xa3" + b"\x01" + b"\xea" * 7 + b"\x18S\x80g" + bytes(8)
    ),
}


@pytest.mark.parametrize("what", list(FOUND), ids=lambda what: what.replace(" ", "-"))
def test_what_was_found_is_a_sentence(what: str, tmp_path: Path) -> None:
    """Each of these was once an exception."""
    path = tmp_path / "found"
    path.write_bytes(FOUND[what])
    with pytest.raises(InputError) as caught, Reader(path) as reader:
        list(reader.frames())
    assert say(caught.value.message).endswith(".")
