"""The least-squares engine against certified regressions and closed forms from outside.

The data sets are NIST's Statistical Reference Datasets, nonlinear regression (public domain),
files ENSO.dat and Lanczos3.dat as the lmfit library carries them.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from classify.pencil import matrix_pencil
from classify.separable import Problem, Solution, solve

DATA = Path(__file__).parent / "data"
FIVE_DIGITS = 1e-5

# Certified values and standard deviations, as printed in the files named above.
LANCZOS3 = {
    "linear": ([8.6816414977e-02, 8.4400777463e-01, 1.5825685901e00],
               [1.7197908859e-02, 4.1488663282e-02, 5.8371576281e-02]),
    "nonlinear": ([9.5498101505e-01, 2.9515951832e00, 4.9863565084e00],
                  [9.7041624475e-02, 1.0766312506e-01, 3.4436403035e-02]),
}  # fmt: skip
ENSO = {
    "linear": ([1.0510749193e01, 3.0762128085e00, 5.3280138227e-01, -1.6231428586e00,
                5.2554493756e-01, 2.1232288488e-01, 1.4966870418e00],
               [1.7488832467e-01, 2.4310052139e-01, 2.4354686618e-01, 2.8078369611e-01,
                4.8073701119e-01, 5.1460022911e-01, 2.5434468893e-01]),
    "nonlinear": ([4.4311088700e01, 2.6887614440e01], [9.4408025976e-01, 4.1612939130e-01]),
}  # fmt: skip


def free_problem(columns, y, q, p):
    """Plain least squares: no priors, equal weights."""
    return Problem(
        columns=columns,
        data=y,
        weight=np.full(len(y), 1 / np.std(y)),
        mean=np.zeros(q),
        precision=np.zeros(q),
        lower=np.full(q, -1e3),
        upper=np.full(q, 1e3),
        linear_precision=np.zeros(p),
        linear_mean=np.zeros(p),
    )


def standard_deviations(solution: Solution, rows: int) -> np.ndarray:
    """Scale the covariance by the residual variance, as the certificates do."""
    count = len(solution.jacobian[0])
    variance = np.sum(solution.residual**2) / (rows - count)
    return np.sqrt(variance * np.diag(solution.covariance()))


def decays(x):
    """Columns exp(-b x) with their derivatives."""

    def columns(b):
        phi = np.exp(-x[:, None] * b)
        dphi = np.zeros((len(b), *phi.shape))
        for k in range(len(b)):
            dphi[k, :, k] = -x * phi[:, k]
        return phi, dphi

    return columns


def cycles(x):
    """Columns of a mean, a yearly cycle and two cycles of unknown period."""

    def columns(periods):
        turns = [2 * np.pi * x / period for period in (12.0, *periods)]
        phi = np.column_stack(
            [np.ones_like(x)] + [trig(turn) for turn in turns for trig in (np.cos, np.sin)]
        )
        dphi = np.zeros((2, *phi.shape))
        for k, period in enumerate(periods):
            turn = turns[k + 1]
            dphi[k, :, 3 + 2 * k] = np.sin(turn) * turn / period
            dphi[k, :, 4 + 2 * k] = -np.cos(turn) * turn / period
        return phi, dphi

    return columns


@pytest.mark.parametrize("start", [[0.3, 5.5, 7.6], [0.7, 4.2, 6.3]])
def test_sum_of_decays_matches_nist_lanczos3(start):
    """Both certified starts reach the certified values and standard deviations to 5 digits."""
    y, x = np.loadtxt(DATA / "nist_lanczos3.csv", delimiter=",", skiprows=1).T
    problem = free_problem(decays(x), y, 3, 3)
    solution = solve(problem, np.array(start), steps=500, tol=1e-16)
    order = np.argsort(solution.nonlinear)
    np.testing.assert_allclose(
        solution.nonlinear[order], LANCZOS3["nonlinear"][0], rtol=FIVE_DIGITS
    )
    np.testing.assert_allclose(solution.linear[order], LANCZOS3["linear"][0], rtol=FIVE_DIGITS)
    sd = standard_deviations(solution, len(y))
    np.testing.assert_allclose(sd[:3][order], LANCZOS3["nonlinear"][1], rtol=FIVE_DIGITS)
    np.testing.assert_allclose(sd[3:][order], LANCZOS3["linear"][1], rtol=FIVE_DIGITS)


@pytest.mark.parametrize("start", [[40.0, 25.0], [44.0, 26.0]])
def test_sum_of_sinusoids_matches_nist_enso(start):
    """Both certified starts reach the certified values and standard deviations to 5 digits."""
    y, x = np.loadtxt(DATA / "nist_enso.csv", delimiter=",", skiprows=1).T
    solution = solve(free_problem(cycles(x), y, 2, 7), np.array(start), steps=500, tol=1e-16)
    np.testing.assert_allclose(solution.nonlinear, ENSO["nonlinear"][0], rtol=FIVE_DIGITS)
    np.testing.assert_allclose(solution.linear, ENSO["linear"][0], rtol=FIVE_DIGITS)
    sd = standard_deviations(solution, len(y))
    np.testing.assert_allclose(sd[:2], ENSO["nonlinear"][1], rtol=FIVE_DIGITS)
    np.testing.assert_allclose(sd[2:], ENSO["linear"][1], rtol=FIVE_DIGITS)


def test_priors_pull_as_independent_measurements():
    """A prior on a linear and on a nonlinear parameter acts as one more datum each."""
    x = np.linspace(0, 2, 30)
    y = 2.0 * np.exp(-1.5 * x) + np.random.default_rng(3).normal(0, 0.05, 30)
    plain = free_problem(decays(x), y, 1, 1)
    unsure = Problem(
        columns=plain.columns, data=y, weight=np.full(30, 20.0),
        mean=np.array([1.0]), precision=np.array([400.0]), lower=plain.lower, upper=plain.upper,
        linear_precision=np.array([100.0]), linear_mean=np.array([1.8]),
    )  # fmt: skip
    ours = solve(unsure, np.array([1.2]), tol=1e-14)

    def cost(b, a):
        data = np.sum(((y - a * np.exp(-b * x)) * 20) ** 2)
        return data + 400 * (b - 1) ** 2 + 100 * (a - 1.8) ** 2

    b, a = float(ours.nonlinear[0]), float(ours.linear[0])
    np.testing.assert_allclose(ours.cost, cost(b, a), rtol=1e-10)
    for db, da in ((1e-3, 0), (-1e-3, 0), (0, 1e-3), (0, -1e-3)):
        assert cost(b + db, a + da) > ours.cost


def test_unconstrained_direction_has_no_finite_variance():
    """Two equal columns leave their difference open; the covariance says so."""
    solution = solve(
        Problem(
            columns=lambda _: (np.ones((5, 2)), np.zeros((1, 5, 2))),
            data=np.arange(5.0), weight=np.ones(5), mean=np.zeros(1), precision=np.ones(1),
            lower=-np.ones(1), upper=np.ones(1), linear_precision=np.zeros(2),
            linear_mean=np.zeros(2),
        ),
        np.zeros(1),
    )  # fmt: skip
    assert solution.covariance()[1, 1] > 1e6


def test_matrix_pencil_is_exact_on_fibonacci_numbers():
    """An exact two-pole series: the golden ratio and its conjugate."""
    fibonacci = [0.0, 1.0]
    while len(fibonacci) < 16:
        fibonacci.append(fibonacci[-1] + fibonacci[-2])
    z = matrix_pencil(np.array(fibonacci), 2)
    np.testing.assert_allclose(z.real, [1.6180339887, -0.6180339887], atol=1e-9)


@pytest.mark.parametrize(("share", "ratio"), [(1 / 3, 1.125), (1 / 2, 4 / 3)])
def test_matrix_pencil_variance_over_the_bound(share, ratio):
    """Hua & Sarkar 1990: 1.125 times the bound at L = N/3, 1.333 at N/2, for one complex tone."""
    n, s, trials = 60, 0.02, 900
    rng = np.random.default_rng(11)
    truth = np.exp(2j * np.pi * 0.12 * np.arange(n))
    errors = []
    for _ in range(trials):
        noise = rng.normal(0, s, n) + 1j * rng.normal(0, s, n)
        z = matrix_pencil(truth + noise, 1, pencil=round(share * n))
        errors.append(np.angle(z[0]) - 2 * np.pi * 0.12)
    # One complex tone of amplitude 1: var omega >= 6 (2 s^2) / (N (N^2 - 1)), with s per part.
    bound = 6 * 2 * s**2 / (n * (n**2 - 1))
    # Four standard deviations of a variance from so many trials.
    np.testing.assert_allclose(
        np.mean(np.square(errors)) / bound, ratio, rtol=4 * (2 / trials) ** 0.5
    )


def test_matrix_pencil_refuses_too_few_samples():
    """So many poles do not fit into so few samples."""
    with pytest.raises(ValueError, match="hold no 4 poles"):
        matrix_pencil(np.arange(6.0), 4)
