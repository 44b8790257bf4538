"""Two flights next to each other: the difference of each kind of swing, with its error."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from classify.side_by_side import Axis, Difference, differences
from classify.types import Kind, Reading
from tests.made_readings import made_reading, made_refusal
from ui.words import LANGUAGES, say

NUMBER = re.compile(r"\d+\.\d")


def with_swing(swing_mm: float, sigma_mm: float, kind: Kind = "yaw") -> Reading:
    """Make a reading whose only swing across is of this size and kind."""
    reading = made_reading()
    line = replace(reading.across[0], kind=kind, swing_mm=swing_mm, swing_sigma_mm=sigma_mm)
    return replace(reading, across=(line,))


def without_swing(below_mm: float | None) -> Reading:
    """Make a clean reading in which a swing along each axis could hide up to this size."""
    return replace(made_reading(), across=(), up_down=(), unseen_below_mm=(below_mm, below_mm))


def only(first: Reading, second: Reading, axis: Axis = "across") -> Difference:
    """Give the one difference that there is."""
    found = differences(first, second, axis)
    assert len(found) == 1
    return found[0]


def test_difference_carries_the_error_of_both() -> None:
    """3 and 4 add up to 5 in squares (arithmetic)."""
    found = only(with_swing(30.0, 3.0), with_swing(10.0, 4.0))
    assert found.change_mm is not None
    assert found.sigma_mm is not None
    np.testing.assert_allclose([found.change_mm, found.sigma_mm], [-20.0, 5.0])
    assert found.about.key == "beside.about_across_yaw"
    assert found.sentence.key == "beside.less"


@pytest.mark.parametrize(("second", "key"), [(14.5, "open"), (20.0, "more"), (8.0, "less")])
def test_only_a_difference_beyond_its_error_is_called_one(second: float, key: str) -> None:
    """Within 1.96 standard errors no difference is told (95 % of a normal error, std)."""
    found = only(with_swing(14.0, 0.7), with_swing(second, 0.7))
    assert found.sentence.key == f"beside.{key}"


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("second_mm", [15.0, 15.9, 16.0, 18.0, 10.0])
def test_the_numbers_of_a_sentence_agree_with_it(second_mm: float, language: str) -> None:
    """What is within its error is within the error that is printed, and what is not is beyond it.

    By the arithmetic of the sentence: two swings of 0.7 mm error have 1.94 mm at 95 %.
    """
    found = only(with_swing(14.0, 0.7), with_swing(second_mm, 0.7))
    change_mm, error_mm = (
        float(text) for text in NUMBER.findall(say(found.sentence, language))[2:]
    )
    assert (change_mm <= error_mm) == (found.sentence.key == "beside.open")
    np.testing.assert_allclose(error_mm, 1.9)


def test_a_slow_swing_is_not_compared_with_a_fast_one() -> None:
    """A wide slow swing and a fast one are two lines, and neither says which is wider."""
    found = differences(with_swing(15.0, 0.5), with_swing(5.0, 0.5, "fast"), "across")
    assert [line.about.key for line in found] == [
        "beside.about_across_yaw",
        "beside.about_across_fast",
    ]
    assert [line.sentence.key for line in found] == ["beside.only_first", "beside.only_second"]
    assert [line.change_mm for line in found] == [None, None]


def test_each_kind_is_compared_with_its_like() -> None:
    """Two flights that swing both ways: slow less, fast more."""
    flights = [
        replace(made_reading(), across=with_swing(slow, 0.5).across + fast.across)
        for slow, fast in (
            (15.0, with_swing(3.0, 0.3, "fast")),
            (9.0, with_swing(6.0, 0.3, "fast")),
        )
    ]
    slow, fast = differences(flights[0], flights[1], "across")
    assert (slow.sentence.key, fast.sentence.key) == ("beside.less", "beside.more")
    np.testing.assert_allclose(
        [slow.first_mm, slow.second_mm, fast.first_mm, fast.second_mm], [15.0, 9.0, 3.0, 6.0]
    )


@pytest.mark.parametrize("kind", ["bending", "wobble"])
def test_bending_and_a_circling_tail_are_not_compared(kind: Kind) -> None:
    """Bending is normal, however wide; a circling tail points to the arrow."""
    reading = made_reading()
    line = replace(reading.across[0], kind=kind, swing_mm=50.0)
    found = only(reading, replace(reading, across=(line, *reading.across)))
    assert found.change_mm is not None
    np.testing.assert_allclose(found.change_mm, 0.0)


def test_a_clean_flight_counts_with_its_limit() -> None:
    """No swing found is 0 with the error that its 95 % limit stands for, not with none."""
    found = only(with_swing(14.0, 0.0), without_swing(1.645))
    assert found.sigma_mm is not None
    np.testing.assert_allclose([found.second_mm, found.sigma_mm], [0.0, 1.0])
    assert found.sentence.key == "beside.less_no_second"


def test_neither_swing_is_one_line_with_what_could_hide() -> None:
    """A limit of 3.29 mm at 95 % is 2 mm of standard error (the normal law, one-sided)."""
    still = without_swing(3.29)
    found = only(still, still, "up_down")
    assert found.sigma_mm is not None
    np.testing.assert_allclose(found.sigma_mm, np.sqrt(2) * 2.0)
    assert found.sentence.key == "beside.open_no_first_second"
    np.testing.assert_allclose(float(found.sentence.values["error_mm"]), 1.96 * found.sigma_mm)
    assert differences(without_swing(None), still, "up_down") == ()


def test_a_swing_beside_a_flight_without_a_limit_is_told_without_a_difference() -> None:
    """Where nobody knows what could hide there is no error, and so no difference."""
    assert only(with_swing(9.0, 0.5), without_swing(None)).sentence.key == "beside.only_first"
    assert only(without_swing(None), with_swing(9.0, 0.5)).sentence.key == "beside.only_second"


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("sizes", [(0.0, 0.0), (0.0, 9.0), (9.0, 0.0), (1.0, 0.0), (0.0, 1.0)])
@pytest.mark.parametrize("below_mm", [3.0, None])
def test_no_swing_is_said_and_not_given_as_nought(
    sizes: tuple[float, float], below_mm: float | None, language: str
) -> None:
    """0.0 mm would look like a measurement, and who shows none does not swing like the other."""
    flights = [without_swing(below_mm) if size == 0.0 else with_swing(size, 0.5) for size in sizes]
    for found in differences(flights[0], flights[1], "across"):
        said = say(found.sentence, language)
        assert not {"0.0", "alike", "igual"} & set(re.findall(r"[\w.]*\w", said))


def test_refused_or_unscaled_flights_are_not_compared() -> None:
    """There is no difference to something unknown."""
    unscaled = replace(made_reading(), scale=None)
    unsized = replace(made_reading().across[0], swing_mm=None)
    assert differences(made_reading(), made_refusal(), "across") == ()
    assert differences(unscaled, made_reading(), "up_down") == ()
    assert differences(replace(made_reading(), across=(unsized,)), made_reading(), "across") == ()
