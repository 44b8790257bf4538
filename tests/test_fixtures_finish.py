"""What a rendered phone does to its pictures is what such filters do, by their closed forms."""

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy.stats import norm

from fixtures.finish import ALIKE_SIGMAS, BREATH_HZ, Finisher, Plane
from fixtures.plan import Finish, Sensor

SENSOR = Sensor(read_dn=4.0, shot_dn=0.0)


def _flat(value: float = 100.0) -> Plane:
    return np.full((80, 80), value, dtype=np.float32)


def _noisy(rng: np.random.Generator) -> Plane:
    return np.asarray(_flat() + rng.normal(0, SENSOR.read_dn, (80, 80)), dtype=np.float32)


def _edge() -> Plane:
    """Give 50 on the left, 150 on the right of the middle."""
    picture = _flat(50.0)
    picture[:, 40:] = 150.0
    return picture


def test_nothing_is_done_unless_asked_for(rng: np.random.Generator) -> None:
    """Without a finish pictures leave as they came."""
    finisher, noisy = Finisher(Finish(), SENSOR), _noisy(rng)
    assert_array_equal(finisher.kept(finisher.light(noisy, 0.2)), noisy)


@pytest.mark.parametrize("amount", [0.4, 1.2])
@pytest.mark.parametrize("blur_px", [1.0, 1.7])
def test_an_edge_that_is_sharpened_has_the_halo_of_an_unsharp_mask(
    amount: float, blur_px: float
) -> None:
    """Beside a step of 100 the picture overshoots by what the blurred step lacks there.

    The blurred step is the normal law's distribution function (summed over pixels' middles).
    """
    finish = Finish(sharpened=amount, sharpened_px=blur_px)
    row = Finisher(finish, SENSOR).kept(_edge())[40]
    lacks = 100.0 * norm.sf(0.5 / blur_px)
    assert_allclose(row[40] - 150.0, amount * lacks, rtol=0.03)
    assert_allclose(50.0 - row[39], amount * lacks, rtol=0.03)
    assert_allclose(row[[5, 75]], [50.0, 150.0], atol=0.01)


def test_noise_of_what_stands_still_falls_as_a_recursive_filter_says(
    rng: np.random.Generator,
) -> None:
    """With a share k of the picture before, variance falls to (1 - k) / (1 + k) at the most.

    Less where neighbouring noise makes the two differ; the mean stays.
    """
    share = 0.8
    finisher = Finisher(Finish(from_before=share), SENSOR)
    for _ in range(40):
        kept = finisher.kept(_noisy(rng))
    left = kept[5:-5, 5:-5].var() / SENSOR.read_dn**2
    assert (1 - share) / (1 + share) < left < 0.6
    assert_allclose(kept.mean(), 100.0, atol=0.3)


@pytest.mark.parametrize("step_sigmas", [0.3, 12.0])
def test_what_changes_little_lags_behind_and_what_changes_much_does_not(step_sigmas: float) -> None:
    """A faint change comes a share at a time, a plain one at once: that is what leaves ghosts."""
    finisher = Finisher(Finish(from_before=0.8), SENSOR)
    finisher.kept(_flat())
    step = step_sigmas * finisher.alike_dn / ALIKE_SIGMAS
    shown = float(finisher.kept(_flat(100.0 + step))[40, 40]) - 100.0
    alike = np.exp(-((3.0 * step / finisher.alike_dn) ** 2))
    assert_allclose(shown / step, 1 - 0.8 * alike, rtol=1e-3)
    assert (shown / step < 0.5) == (step_sigmas < 1)


def test_smoothing_takes_noise_and_leaves_strong_edges(rng: np.random.Generator) -> None:
    """Noise falls to less than half; a step of ten times what is evened out stays."""
    finish = Finish(smoothed_dn=10.0)
    assert Finisher(finish, SENSOR).kept(_noisy(rng)).std() < 0.5 * SENSOR.read_dn
    assert_allclose(Finisher(finish, SENSOR).kept(_edge()), _edge(), atol=0.01)


def test_exposure_follows_the_clock() -> None:
    """A tenth of a second at half as bright again each second: 5 % more."""
    finisher = Finisher(Finish(brighter_per_s=0.5), SENSOR)
    assert_allclose(finisher.light(_flat(), 0.1), 105.0, rtol=1e-5)
    assert_allclose(finisher.light(_flat(), -5.0), 10.0, rtol=1e-5)  # never dark, nor negative


def test_focus_wanders_and_comes_back() -> None:
    """Widest blurred half way, sharp at the release and a period later; light is kept."""
    finisher = Finisher(Finish(breathing_px=1.5), SENSOR)
    dot = np.zeros((41, 41), dtype=np.float32)
    dot[20, 20] = 1000.0
    assert_array_equal(finisher.light(dot, 0.0), dot)
    assert_array_equal(finisher.light(dot, 1 / BREATH_HZ), dot)
    blurred = finisher.light(dot, 0.5 / BREATH_HZ)
    assert_allclose(blurred.sum(), 1000.0, rtol=1e-3)
    spread = np.sqrt((blurred.sum(axis=0) * (np.arange(41) - 20) ** 2).sum() / blurred.sum())
    assert_allclose(spread, 1.5, rtol=0.05)
