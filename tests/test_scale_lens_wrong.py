"""A typed field of view that is another picture's: too wide a lens makes an arrow fall too fast."""

from __future__ import annotations

from dataclasses import replace

import pytest

from classify.judgement import read_track
from classify.types import DISTURBANCES, Known
from tests.drawn_flights import Drawn, drawn_flight

SEEDS = (3, 6, 7, 1)
"""Flights that were labelled wrongly with more than 0.9 when such a number was believed."""


def made_up(drawn: Drawn, known: Known) -> tuple[str, ...]:
    """List the disturbances that a reading claims and that are not there."""
    reading = read_track(drawn.track, clip=drawn.clip, known=known)
    if reading.refused:
        return ()
    return tuple(
        name
        for name in DISTURBANCES
        if reading.presence[name] > 0.8 and not drawn.truth.presence[name]
    )


@pytest.mark.parametrize(("factor", "seeds"), [(0.7, SEEDS[-1:]), (1.4, SEEDS)])
def test_a_wrong_field_of_view_makes_no_disturbance(factor: float, seeds: tuple[int, ...]) -> None:
    """Beside all other numbers, and of the last flight alone."""
    for seed in seeds:
        drawn = drawn_flight(31, seed)
        wide = factor * float(drawn.known.field_of_view_deg or 0.0)
        assert made_up(drawn, replace(drawn.known, field_of_view_deg=wide)) == (), seed
    alone = Known(capture_hz=drawn.known.capture_hz, hand="right", field_of_view_deg=wide)
    assert made_up(drawn, alone) == ()


def test_a_right_field_of_view_still_tells_the_scale() -> None:
    """Beside the distance to within a tenth, though it might have been wrong."""
    for seed in SEEDS[:2]:
        drawn = drawn_flight(31, seed)
        known = replace(drawn.known, nock_diameter_m=None)
        scale = read_track(drawn.track, clip=drawn.clip, known=known).scale
        assert scale is not None
        assert scale.m_per_px_s.sigma < 0.1 * scale.m_per_px_s.value
        true = 1e-3 * drawn.truth.mm_per_px_at_release / drawn.truth.singular_time_s
        assert scale.m_per_px_s.value == pytest.approx(true, rel=0.12)
