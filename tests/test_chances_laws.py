"""Probability laws against another implementation of them and against printed tables."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats

from classify import chances

DOFS = (1.0, 2.0, 3.7, 12.0, 250.0)
SHARES = (0.001, 0.025, 0.5, 0.95, 0.9995)


def test_normal_agrees_with_the_general_package() -> None:
    """Both tails, far out as well."""
    z = np.linspace(-9, 9, 37)
    assert_allclose(chances.normal_below(z), stats.norm.cdf(z), rtol=1e-12)


@pytest.mark.parametrize("dof", DOFS)
def test_chi_square_agrees_with_the_general_package(dof: float) -> None:
    """Chance and limit are each other's inverse, and both agree."""
    for share in SHARES:
        limit = chances.chi2_exceeded(share, dof)
        assert_allclose(limit, stats.chi2.isf(share, dof), rtol=1e-9)
        assert_allclose(chances.chi2_beyond(limit, dof), share, rtol=1e-9)


@pytest.mark.parametrize("dof", DOFS)
def test_student_agrees_with_the_general_package(dof: float) -> None:
    """Fractional degrees of freedom too, as Welch's are."""
    for share in SHARES:
        limit = chances.t_limit(share, dof)
        assert_allclose(limit, stats.t.ppf(share, dof), rtol=1e-8, atol=1e-12)
        assert_allclose(chances.t_below(limit, dof), share, rtol=1e-8)


def test_student_takes_several_degrees_of_freedom() -> None:
    """An array of degrees of freedom gives an array of limits."""
    limits = chances.t_limit(0.975, np.array([3.0, 10.0]))
    assert_allclose(limits, [3.182, 2.228], atol=5e-4)  # Abramowitz & Stegun, table 26.10


@pytest.mark.parametrize("above", DOFS)
@pytest.mark.parametrize("below", DOFS)
def test_variance_ratio_agrees_with_the_general_package(above: float, below: float) -> None:
    """Any pair of degrees of freedom."""
    for share in SHARES:
        limit = chances.f_limit(share, above, below)
        assert_allclose(limit, stats.f.ppf(share, above, below), rtol=1e-7)
        assert_allclose(chances.f_beyond(limit, above, below), 1 - share, rtol=1e-6)


def test_rice_agrees_with_the_general_package() -> None:
    """From no amplitude at all to one of 300 standard errors."""
    amplitude = np.array([0.0, 0.01, 0.5, 1.0, 4.0, 30.0, 300.0])
    for share in SHARES:
        limit = chances.rice_limit(share, amplitude)
        assert_allclose(limit, stats.rice.ppf(share, amplitude), rtol=1e-7)
        assert_allclose(chances.rice_below(limit, amplitude), share, rtol=1e-6)


def test_rice_agrees_with_draws() -> None:
    """The length of a vector with an error in each of its two components."""
    rng = np.random.default_rng(20)
    length = np.hypot(2.0 + rng.normal(size=200_000), rng.normal(size=200_000))
    assert_allclose(chances.rice_below(2.5, 2.0), (length < 2.5).mean(), atol=0.005)


def test_a_number_gives_a_number() -> None:
    """No array of one element reaches JSON."""
    for found in (
        chances.normal_below(0.3),
        chances.rice_below(1.0, 2.0),
        chances.rice_limit(0.95, 2.0),
        chances.t_limit(0.9, 4.0),
    ):
        assert type(found) is float
