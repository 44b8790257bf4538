"""What every test may ask for."""

from __future__ import annotations

import os

# Before numpy is loaded, here and in the workers, which inherit it: matrices are small, and two
# workers with two threads of linear algebra each wait for one another more than they work.
for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"):
    os.environ.setdefault(name, "1")

from pathlib import Path  # noqa: E402

import numpy as np  # noqa: E402
import pytest  # noqa: E402

from ui.shelf import Shelf  # noqa: E402


@pytest.fixture
def rng() -> np.random.Generator:
    """Give the one seeded source of chance."""
    return np.random.default_rng(20)


@pytest.fixture
def shelf(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Shelf:
    """Give an empty shelf that the pages use."""
    import streamlit as st  # most tests draw no page

    monkeypatch.setenv("TAILSWAY_FOLDER", str(tmp_path))
    monkeypatch.setenv("TAILSWAY_LANGUAGE", "en")
    st.cache_resource.clear()
    return Shelf(tmp_path)
