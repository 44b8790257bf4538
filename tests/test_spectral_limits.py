"""The claimed errors of single tones against the closed forms of estimation theory.

Closed forms after D. C. Rife, R. R. Boorstyn, IEEE Trans. Inf. Theory 20 (1974) 591-598; the
numbers for decaying tones were computed apart from this code from numerical Fisher matrices.
"""

from __future__ import annotations

import numpy as np
import pytest

from classify.motion import Oscillation, Picture, fall_shape
from classify.separable import Problem, Solution, solve

FAR_S = 1e5
"""A camera so far away that perspective is as good as none."""

PRINTED = 0.02
"""The reference values are printed to two or three digits."""

PHASES = np.linspace(0, np.pi, 8, endpoint=False)
"""A short real tone's error depends on its phase; the references are for an average one."""

AVERAGE = 0.06
"""What is left open by how the references averaged."""


def one_tone(
    *,
    a: float,
    f_hz: float,
    decay: float,
    s: float,
    rate_hz: float,
    span_s: float,
    trend: bool,
    phase: float = 0.0,
) -> Solution:
    """Fit one noiseless tone across; with `trend`, offset and drift are fitted along."""
    t = np.arange(round(span_s * rate_hz)) / rate_hz
    picture = Picture(t_s=t, oscillations=(Oscillation(slow=False, axes=(1, 0)),))
    theta = np.array([np.log(FAR_S), 0.0, 0.0, np.log(f_hz), decay])
    truth = np.zeros(9)
    truth[5:7] = a * FAR_S * np.array([np.cos(phase), np.sin(phase)])
    held = np.array([1e12, 1e12, 1e12, 0.0, 0.0])
    # Offset and drift across are left open or held; what belongs up-down is always held.
    path = 0.0 if trend else 1e12
    linear = np.array([path, path, 1e12, 1e12, 1e12, 0.0, 0.0, 1e12, 1e12])
    problem = Problem(
        columns=picture.columns,
        data=picture.columns(theta)[0] @ truth,
        weight=np.full(2 * len(t), 1 / s),
        mean=theta,
        precision=held,
        lower=theta - 1.0,
        upper=theta + 1.0,
        linear_precision=linear,
        linear_mean=np.zeros(9),
    )
    return solve(problem, theta)


def errors_of(f_hz: float, **tone: float) -> tuple[float, float]:
    """Give standard deviations of frequency and decay, root mean square over the phases."""
    variances = []
    for phase in PHASES:
        C = one_tone(f_hz=f_hz, phase=phase, **tone).covariance()
        variances.append((C[3, 3] * f_hz**2, C[4, 4]))
    sd_f, sd_decay = np.sqrt(np.mean(variances, axis=0))
    return float(sd_f), float(sd_decay)


def test_undamped_tone_meets_the_closed_form():
    """A 1, s 0.1, N 100: sd f 7.80e-5 cycles a sample, sd A 0.01414."""
    solution = one_tone(a=1, f_hz=0.2, decay=0, s=0.1, rate_hz=1, span_s=100, trend=False)
    n, eta = 100, 1 / (2 * 0.1**2)
    # Decay is held in the closed form: take the frequency at known decay.
    normal = np.linalg.inv(solution.covariance())
    keep = [3, 10, 11]
    held = np.sqrt(np.diag(np.linalg.inv(normal[np.ix_(keep, keep)])))
    closed = np.sqrt(12 / ((2 * np.pi) ** 2 * eta * n * (n**2 - 1)))
    np.testing.assert_allclose(closed, 7.80e-5, rtol=2e-3)
    np.testing.assert_allclose(held[0] * 0.2, closed, rtol=PRINTED)
    np.testing.assert_allclose(held[1] / FAR_S, 0.01414, rtol=PRINTED)


def test_fully_decayed_tone_meets_the_closed_form():
    """A 1, f 20 Hz, decay 8, s 0.05, 240 a second, 2 s: sd f 0.0465 Hz, sd decay 0.292."""
    sd_f, sd_decay = errors_of(20, a=1, decay=8, s=0.05, rate_hz=240, span_s=2, trend=False)
    np.testing.assert_allclose([sd_f, sd_decay], [0.0465, 0.292], rtol=PRINTED)
    closed = 16 * 0.05**2 * 8**3 / 240
    np.testing.assert_allclose(sd_f, np.sqrt(closed) / (2 * np.pi), rtol=PRINTED)


@pytest.mark.parametrize(
    ("span_s", "trend", "sd_f"), [(0.35, False, 0.037), (0.35, True, 0.162), (1.3, True, 0.0129)]
)
def test_yaw_of_a_short_flight_meets_the_numerical_bound(span_s, trend, sd_f):
    """A 3 px, f 3 Hz, decay 2, s 0.3 px, 240 a second: offset and drift cost a factor of four."""
    ours, _ = errors_of(3, a=3, decay=2, s=0.3, rate_hz=240, span_s=span_s, trend=trend)
    np.testing.assert_allclose(ours, sd_f, rtol=AVERAGE)


def test_columns_have_the_derivatives_they_claim():
    """Central differences of every column by every nonlinear parameter."""
    t = np.array([0.0, 0.011, 0.05, 0.17, 0.3])
    picture = Picture(
        t_s=t, oscillations=(Oscillation(slow=True), Oscillation(slow=False, axes=(1, 0)))
    )
    theta = np.array([np.log(0.07), 0.08, 0.02, np.log(2.4), 0.09, np.log(31.0), 5.0])
    _, dphi = picture.columns(theta)
    for row in range(len(theta)):
        step = np.zeros(len(theta))
        step[row] = 1e-6
        forward, back = picture.columns(theta + step)[0], picture.columns(theta - step)[0]
        np.testing.assert_allclose(dphi[row], (forward - back) / 2e-6, rtol=1e-5, atol=1e-6)


@pytest.mark.parametrize("kappa", [0.0, 5e-4, 0.07])
def test_fall_follows_its_equation_of_motion(kappa):
    """The fall's shape obeys q'' = 2 - kappa/(1 + kappa t) q', with quadratic drag."""
    t = np.linspace(0, 1.3, 2001)
    q, dq = fall_shape(t, kappa)
    first, second = np.gradient(q, t), np.gradient(np.gradient(q, t), t)
    inside = slice(5, -5)
    np.testing.assert_allclose(
        second[inside], (2 - kappa / (1 + kappa * t) * first)[inside], atol=1e-3
    )
    more, less = fall_shape(t, kappa + 1e-5)[0], fall_shape(t, kappa - 1e-5)[0]
    np.testing.assert_allclose(dq, (more - less) / 2e-5, atol=1e-5)
