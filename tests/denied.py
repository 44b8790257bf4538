"""Folders and disks that refuse: without permission to write, or without room; for tests."""

from __future__ import annotations

import os
import resource
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

NOBODY = 65534


@contextmanager
def denied(folder: Path) -> Iterator[Path]:
    """Move a folder to where it cannot be written for a while, whoever runs the tests.

    The superuser writes everywhere, so the tests become nobody then.
    """
    with tempfile.TemporaryDirectory() as room:
        Path(room).chmod(0o755)
        place = Path(room) / "coach"
        shutil.copytree(folder, place)
        everything = [place, *place.rglob("*")]
        for path in everything:
            path.chmod(0o555 if path.is_dir() else 0o444)
        us = os.geteuid()
        if us == 0:
            os.seteuid(NOBODY)
        try:
            yield place
        finally:
            if us == 0:
                os.seteuid(us)
            for path in everything:
                path.chmod(0o755 if path.is_dir() else 0o644)
            shutil.rmtree(folder)
            shutil.copytree(place, folder)


@contextmanager
def largest_file(size_bytes: int) -> Iterator[None]:
    """Let no file of this process grow beyond a size, as on a full disk."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size_bytes, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
