"""What every test may ask for."""

from __future__ import annotations

import numpy as np
import pytest


@pytest.fixture
def rng() -> np.random.Generator:
    """Give the one seeded source of chance."""
    return np.random.default_rng(20)
