"""Two flights next to each other: the difference of their widest swings, with its error."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from classify.side_by_side import difference
from classify.types import ModeLine, Reading
from tests.made_readings import made_reading, made_refusal
from ui.words import LANGUAGES, say


def with_swing(swing_mm: float, sigma_mm: float) -> Reading:
    """Make a reading whose slow swing across is of this size."""
    reading = made_reading()
    line = replace(reading.across[0], swing_mm=swing_mm, swing_sigma_mm=sigma_mm)
    return replace(reading, across=(line,))


def test_difference_carries_the_error_of_both() -> None:
    """3 and 4 add up to 5 in squares (arithmetic)."""
    found = difference(with_swing(30.0, 3.0), with_swing(10.0, 4.0), "across")
    assert found is not None
    np.testing.assert_allclose([found.change_mm, found.sigma_mm], [-20.0, 5.0])
    assert found.sentence.key == "beside.across_less"


@pytest.mark.parametrize(
    ("second", "key"), [(14.5, "across_alike"), (20.0, "across_more"), (8.0, "across_less")]
)
def test_only_a_difference_beyond_its_error_is_called_one(second: float, key: str) -> None:
    """Within 1.96 standard errors two flights are alike (95 % of a normal error, std)."""
    found = difference(with_swing(14.0, 0.7), with_swing(second, 0.7), "across")
    assert found is not None
    assert found.sentence.key == f"beside.{key}"


def test_bending_is_not_compared() -> None:
    """The shaft's bending is normal, however wide."""
    reading = made_reading()
    bending = ModeLine(
        kind="bending",
        frequency_hz=80.0,
        frequency_sigma_hz=1.0,
        swing_mm=50.0,
        swing_sigma_mm=1.0,
        swing_deg=None,
        damping_ratio=0.02,
    )
    shaken = replace(reading, across=(bending, *reading.across))
    found = difference(reading, shaken, "across")
    assert found is not None
    np.testing.assert_allclose(found.change_mm, 0.0)


def test_a_clean_flight_counts_with_its_limit() -> None:
    """No swing found is 0 with the error that its 95 % limit stands for, not with none."""
    clean = replace(made_reading(), label="clean", across=(), unseen_below_mm=(1.645, 1.0))
    found = difference(with_swing(14.0, 0.0), clean, "across")
    assert found is not None
    np.testing.assert_allclose([found.second_mm, found.sigma_mm], [0.0, 1.0])
    assert found.sentence.key == "beside.across_less_no_second"


def test_a_flight_without_a_swing_along_one_axis_counts_with_what_could_hide() -> None:
    """A limit of 3.29 mm at 95 % is 2 mm of standard error (the normal law, one-sided)."""
    still = replace(made_reading(), up_down=(), unseen_below_mm=(None, 3.29))
    found = difference(still, still, "up_down")
    assert found is not None
    np.testing.assert_allclose(found.sigma_mm, np.sqrt(2) * 2.0)
    assert found.sentence.key == "beside.up_down_alike_no_first_second"
    assert difference(replace(still, unseen_below_mm=(None, None)), still, "up_down") is None


def test_a_circling_tail_is_not_compared() -> None:
    """It points to the arrow, and is told apart from a swing everywhere else."""
    reading = made_reading()
    circle = replace(reading.across[0], kind="wobble", swing_mm=90.0)
    found = difference(reading, replace(reading, across=(circle, *reading.across)), "across")
    assert found is not None
    np.testing.assert_allclose(found.change_mm, 0.0)


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("sizes", [(0.0, 0.0), (0.0, 9.0), (9.0, 0.0), (1.0, 0.0), (0.0, 1.0)])
def test_no_swing_is_said_and_not_given_as_nought(
    sizes: tuple[float, float], language: str
) -> None:
    """0.0 mm would look like a measurement."""
    flights = [
        replace(made_reading(), label="clean", across=(), unseen_below_mm=(3.0, 3.0))
        if size == 0.0
        else with_swing(size, 0.5)
        for size in sizes
    ]
    found = difference(flights[0], flights[1], "across")
    assert found is not None
    said = say(found.sentence, language)
    assert "0.0 mm" not in said.replace("9.0 mm", "").replace("1.0 mm", "")


def test_refused_or_unscaled_flights_are_not_compared() -> None:
    """There is no difference to something unknown."""
    assert difference(made_reading(), made_refusal(), "across") is None
    assert difference(replace(made_reading(), scale=None), made_reading(), "up_down") is None
