"""Honesty: reading many clips one after the other takes no more memory than reading a few."""

from __future__ import annotations

import sys

import pytest

from tests.benchmarks.soak import another, soak

FLAT_MIB_FOR_100 = 10.0
"""Chosen here: below a tenth of a megabyte for a clip; over 200 clips 2.4 was measured, while the
machine was busy with other work."""


@pytest.mark.long
@pytest.mark.endurance
@pytest.mark.skipif(sys.platform != "linux", reason="memory is counted as Linux does")
def test_memory_is_flat(tmp_path):
    """Over 70 clips, the last 20 of them past the 48 readings that are kept."""
    done = soak(tmp_path, 70)
    assert set(done.states) == {"done"}
    assert done.growth_mib(50) < FLAT_MIB_FOR_100
    assert max(done.here_mib[50:]) < max(done.here_mib[:50]) + 15


def test_another_film_is_the_same_pictures():
    """Only the end differs, in a box that says its own length."""
    made = another(b"film", 7)
    assert made == b"film" + (16).to_bytes(4, "big") + b"free" + (7).to_bytes(8, "big")
    assert another(b"film", 8) != made
