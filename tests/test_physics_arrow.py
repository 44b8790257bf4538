"""Spine, balance, inertia and bending of whole arrows against the standards and real arrows."""

from dataclasses import replace

import numpy as np
import pytest

from classify.physics import (
    OLDER_SPINE_RATIO,
    Arrow,
    bending_hz,
    bending_nodes_m,
    centre_of_mass_m,
    complete,
    end_mass_roots,
    foc_percent,
    inertia_kg_m2,
    mass_kg,
    older_to_standard_spine,
    spine_to_stiffness,
    stiffness_to_spine,
)
from classify.types import ArrowSpec
from tracker.types import InputError

GRAIN_KG = 6.479891e-5

SPINE_600 = Arrow(
    spine=600.0,
    length_m=0.7239,
    shaft_kg_per_m=0.01684,
    point_kg=100 * GRAIN_KG,
    nock_kg=0.00045,
    fletching_kg=0.00075,
    diameter_m=0.0055,
    vanes=3,
    vane_length_m=0.044,
    vane_height_m=0.008,
    vane_from_nock_m=0.035,
)
SPINE_400 = replace(
    SPINE_600,
    spine=400.0,
    length_m=0.7112,
    shaft_kg_per_m=0.02092,
    point_kg=120 * GRAIN_KG,
    nock_kg=0.00055,
)


@pytest.mark.parametrize(
    ("spine", "stiffness"), [(400, 6.365), (500, 5.092), (600, 4.244), (1000, 2.546)]
)
def test_stiffness_from_the_spine_standard(spine, stiffness):
    """ASTM F2031: 28 in span, 1.94 lb; EI = F L³ / (48 D) = 2546.18 / spine N·m²."""
    np.testing.assert_allclose(spine_to_stiffness(spine), stiffness, atol=6e-4)
    np.testing.assert_allclose(spine_to_stiffness(spine) * spine, 2546.18, rtol=1e-5)


def test_spine_and_stiffness_are_inverse():
    """There and back is the same number."""
    np.testing.assert_allclose(stiffness_to_spine(spine_to_stiffness(733.0)), 733.0)


def test_older_practice_of_measuring_spine():
    """Same shaft: 26 in and 2 lb bend it 0.825419 times as far as ASTM F2031 (arithmetic)."""
    np.testing.assert_allclose(OLDER_SPINE_RATIO, 0.825419, atol=1e-6)
    np.testing.assert_allclose(older_to_standard_spine(0.4127095), 500.0, rtol=1e-5)


def test_balance_of_the_worked_example():
    """ASTM F1435 as a dealer's page works it out: 28.5 in long, balance at 19.0 in, 16.67 %."""
    np.testing.assert_allclose(foc_percent(19.0 * 0.0254, 28.5 * 0.0254), 16.67, atol=0.005)


def test_balance_behind_the_middle_is_negative():
    """An arrow that balances behind its middle has a FOC below zero."""
    assert foc_percent(0.30, 0.70) < 0


def test_first_bending_of_a_spine_400_arrow():
    """84.6 Hz, nodes 149 mm from the nock, 62 mm from the point (computed independently)."""
    np.testing.assert_allclose(mass_kg(SPINE_400), 0.02395, rtol=1e-3)
    np.testing.assert_allclose(bending_hz(SPINE_400), 84.6, atol=0.1)
    nodes_m = bending_nodes_m(SPINE_400)
    np.testing.assert_allclose(
        [nodes_m[0], SPINE_400.length_m - nodes_m[1]], [0.149, 0.062], atol=6e-4
    )


def test_first_bending_of_real_arrows():
    """J. Park, Arrows: dynamic behaviour, Bow International: 80 to 90 Hz."""
    assert 80 < bending_hz(SPINE_400) < 90


def test_nodes_of_real_arrows():
    """J. Park, same article: about 50 mm from the point and 150 mm from the nock."""
    nodes_m = bending_nodes_m(SPINE_400)
    np.testing.assert_allclose(nodes_m[0], 0.150, atol=0.015)
    np.testing.assert_allclose(SPINE_400.length_m - nodes_m[1], 0.050, atol=0.015)


def test_second_bending_of_real_arrows():
    """J. Park, same article: 210 to 220 Hz; real shafts taper, so no closer than 25 %."""
    np.testing.assert_allclose(bending_hz(SPINE_400, 2), 215, rtol=0.25)


def test_a_spine_600_arrow():
    """19.87 g, 73.7 Hz, centre of mass 0.4595 m from the nock, I 1.331e-3 kg·m² (independently)."""
    np.testing.assert_allclose(mass_kg(SPINE_600), 0.01987, rtol=1e-4)
    np.testing.assert_allclose(bending_hz(SPINE_600), 73.7, atol=0.05)
    np.testing.assert_allclose(centre_of_mass_m(SPINE_600), 0.4595, atol=1e-4)
    np.testing.assert_allclose(inertia_kg_m2(SPINE_600), 1.331e-3, rtol=1e-3)


def test_leaving_out_the_end_masses_overstates_bending():
    """By about 45 % (computed independently): the masses must not be forgotten."""
    bare = replace(SPINE_400, point_kg=0.0, nock_kg=0.0, fletching_kg=0.0)
    np.testing.assert_allclose(bending_hz(bare) / bending_hz(SPINE_400), 1.45, atol=0.03)


def test_masses_at_the_ends_agree_with_the_closed_determinant():
    """With the vanes' mass at the nock, the arrow is the beam with two end masses."""
    arrow = replace(SPINE_600, vane_from_nock_m=0.0)
    shaft_kg = arrow.shaft_kg_per_m * arrow.length_m
    roots = end_mass_roots(0.0012 / shaft_kg, arrow.point_kg / shaft_kg, 2)
    np.testing.assert_allclose(
        bending_hz(arrow, 2) / bending_hz(arrow, 1), (roots[1] / roots[0]) ** 2, rtol=1e-8
    )


def test_a_degree_of_yaw_at_the_nock():
    """One degree moves the nock 7.2 to 8.1 mm about the centre of mass (independently)."""
    for arrow in (SPINE_400, SPINE_600):
        assert 7.2 < 1000 * centre_of_mass_m(arrow) * np.tan(np.radians(1.0)) < 8.1


def test_inertia_of_a_bare_rod():
    """Exact: m L² / 12 about the middle."""
    rod = replace(SPINE_600, point_kg=0.0, nock_kg=0.0, fletching_kg=0.0)
    np.testing.assert_allclose(centre_of_mass_m(rod), rod.length_m / 2)
    np.testing.assert_allclose(inertia_kg_m2(rod), mass_kg(rod) * rod.length_m**2 / 12)


def test_the_balance_point_gives_the_points_mass():
    """A measured balance point stands in for a weighed point."""
    spec = ArrowSpec(
        spine=600.0,
        length_m=0.7239,
        shaft_kg_per_m=0.01684,
        nock_kg=0.00045,
        fletching_kg=0.00075,
        vane_from_nock_m=0.035,
        balance_m=centre_of_mass_m(SPINE_600),
    )
    arrow, assumed = complete(spec)
    np.testing.assert_allclose(arrow.point_kg, SPINE_600.point_kg, rtol=1e-9)
    assert "point_kg" not in assumed


def test_what_is_known_is_kept_and_the_rest_is_named():
    """Filling gaps never overrides the sheet."""
    arrow, assumed = complete(ArrowSpec(spine=450.0, vanes=4))
    assert (arrow.spine, arrow.vanes) == (450.0, 4)
    assert "spine" not in assumed
    assert "length_m" in assumed


@pytest.mark.parametrize(
    "spec",
    [
        ArrowSpec(spine=0.0),
        ArrowSpec(length_m=-0.7),
        ArrowSpec(point_kg=float("nan")),
        ArrowSpec(diameter_m=float("inf")),
        ArrowSpec(length_m=0.7, vane_from_nock_m=0.8),
        ArrowSpec(length_m=0.7, balance_m=0.75),
        ArrowSpec(length_m=0.7, balance_m=0.2),
    ],
)
def test_impossible_parts_are_refused(spec):
    """A sentence, not a traceback."""
    with pytest.raises(InputError, match="plan"):
        complete(spec)
