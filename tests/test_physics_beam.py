"""The bending beam against tables, exact limits and an independent model of small elements."""

import numpy as np
import pytest
from scipy.linalg import eigh

from classify.physics import end_mass_roots, lumped_roots, mode_nodes, mode_shape, root_to_hz
from tracker.types import InputError

# W. T. Thomson, Theory of Vibration, Appendix D, gives four decimals; the further ones were
# computed independently by bisection of 1 - cos x cosh x in extended precision.
FREE_FREE = [4.730040744863, 7.853204624096, 10.995607838]
TABLE_ACCURACY = 1e-6

# Computed independently from the determinant and confirmed by 200 finite elements.
END_MASSES = [
    (0.1, 0.0, 4.43027, 7.44986),
    (0.1, 0.1, 4.15566, 7.06825),
    (0.3, 0.1, 3.95010, 6.87415),
    (0.5, 0.1, 3.86593, 6.81077),
    (0.5, 0.5, 3.57683, 6.54657),
    (1.0, 1.0, 3.39880, 6.42726),
]


def test_free_free_roots_match_the_table():
    """Without masses the roots are those of Thomson's Appendix D."""
    np.testing.assert_allclose(end_mass_roots(0.0, 0.0, 3), FREE_FREE, atol=TABLE_ACCURACY)


def test_squares_of_the_roots_match_the_table():
    """Thomson prints (beta L)²: 22.3733, 61.6728, 120.903."""
    np.testing.assert_allclose(
        end_mass_roots(0.0, 0.0, 3) ** 2, [22.37328545, 61.67282287, 120.9033917], atol=1e-6
    )


@pytest.mark.parametrize(("mu_1", "mu_2", "first", "second"), END_MASSES)
def test_roots_with_end_masses(mu_1, mu_2, first, second):
    """Roots with masses agree with independently computed ones to their last digit."""
    np.testing.assert_allclose(end_mass_roots(mu_1, mu_2, 2), [first, second], atol=6e-6)


@pytest.mark.parametrize(
    ("mu_1", "mu_2", "expected"),
    [
        # pinned-free and pinned-pinned: Thomson, Appendix D; the latter exactly n pi
        (np.inf, 0.0, [3.926602312, 7.068582746]),
        (np.inf, np.inf, [np.pi, 2 * np.pi]),
    ],
)
def test_infinite_masses_are_pins(mu_1, mu_2, expected):
    """An end too heavy to move is a hinge."""
    np.testing.assert_allclose(end_mass_roots(mu_1, mu_2, 2), expected, atol=1e-8)


def test_swapping_the_ends_changes_nothing():
    """The beam does not know which end is which."""
    np.testing.assert_allclose(end_mass_roots(0.5, 0.1, 4), end_mass_roots(0.1, 0.5, 4), atol=1e-10)


@pytest.mark.parametrize(("mu_1", "mu_2"), [(0.0, 0.0), (0.09, 0.52), (0.5, 0.0), (2.0, 0.3)])
def test_transfer_matrix_agrees_with_the_closed_determinant(mu_1, mu_2):
    """Two derivations of the same roots."""
    np.testing.assert_allclose(
        lumped_roots([0.0, 1.0], [mu_1, mu_2], 3), end_mass_roots(mu_1, mu_2, 3), atol=1e-8
    )


def elements_root(at, mu, elements=100):
    """First two roots from cubic beam elements, masses put on the nodes nearest to them."""
    h = 1 / elements
    stiffness = np.array(
        [[12, 6 * h, -12, 6 * h], [0, 4 * h**2, -6 * h, 2 * h**2], [0, 0, 12, -6 * h], [0, 0, 0, 0]]
    )
    stiffness[3, 3] = 4 * h**2
    inertia = np.array(
        [
            [156, 22 * h, 54, -13 * h],
            [0, 4 * h**2, 13 * h, -3 * h**2],
            [0, 0, 156, -22 * h],
            [0, 0, 0, 4 * h**2],
        ]
    )
    K, M = np.zeros((2, 2 * elements + 2, 2 * elements + 2))
    for i in range(elements):
        block = slice(2 * i, 2 * i + 4)
        K[block, block] += (stiffness + np.triu(stiffness, 1).T) / h**3
        M[block, block] += (inertia + np.triu(inertia, 1).T) * h / 420
    for a, m in zip(at, mu, strict=True):
        M[2 * round(a * elements), 2 * round(a * elements)] += m
    return eigh(K, M, eigvals_only=True, subset_by_index=[2, 3]) ** 0.25


def test_masses_along_the_shaft_agree_with_finite_elements():
    """Nock, vanes a little way in, and point, against an independent discretisation."""
    at, mu = [0.0, 0.05, 1.0], [0.03, 0.06, 0.52]
    np.testing.assert_allclose(lumped_roots(at, mu, 2), elements_root(at, mu), rtol=1e-6)


def test_shape_and_nodes_of_the_bare_beam():
    """Nodes at 0.22416 and 0.77584, centre over end -0.60782 (computed independently)."""
    root = float(lumped_roots([], [], 1)[0])
    np.testing.assert_allclose(mode_nodes(root, [], []), [0.22416, 0.77584], atol=6e-6)
    np.testing.assert_allclose(mode_shape([0.5, 1.0], root, [], []), [-0.60782, 1.0], atol=6e-6)


@pytest.mark.parametrize("mode", [1, 2, 3])
def test_free_motion_keeps_the_momentum_of_the_whole(mode):
    """A free body's bending moves neither its centre of mass nor turns it."""
    at, mu = np.array([0.0, 0.05, 1.0]), np.array([0.03, 0.06, 0.52])
    root = float(lumped_roots(at, mu, mode)[mode - 1])
    place = np.linspace(0, 1, 4001)
    w = mode_shape(place, root, at, mu)
    lumps = mu * mode_shape(at, root, at, mu)
    np.testing.assert_allclose(np.trapezoid(w, place) + lumps.sum(), 0, atol=1e-6)
    np.testing.assert_allclose(np.trapezoid(w * place, place) + np.sum(lumps * at), 0, atol=1e-6)


def test_a_mode_has_one_node_more_than_its_number():
    """Sturm: the n-th bending mode of a free beam has n + 1 nodes."""
    roots = lumped_roots([0.0, 1.0], [0.1, 0.5], 4)
    assert [len(mode_nodes(float(r), [0.0, 1.0], [0.1, 0.5])) for r in roots] == [2, 3, 4, 5]


def test_frequency_of_a_steel_bar():
    """Exact: with EI = rhoA = L = 1 the circular frequency is the square of the root."""
    np.testing.assert_allclose(2 * np.pi * root_to_hz(4.730040745, 1.0, 1.0, 1.0), 22.3732854)


@pytest.mark.parametrize("mu", [-0.1, np.nan, -np.inf])
def test_impossible_end_masses_are_refused(mu):
    """A mass is zero or more."""
    with pytest.raises(InputError, match="end mass ratio"):
        end_mass_roots(mu, 0.0, 1)


def test_masses_off_the_beam_are_refused():
    """Places run from 0 to 1."""
    with pytest.raises(InputError, match="off_the_shaft"):
        lumped_roots([0.0, 1.2], [0.1, 0.1], 1)


def test_a_count_out_of_range_is_refused():
    """Cosh outgrows the mantissa, and no arrow bends so."""
    with pytest.raises(InputError, match=r"plan\.roots"):
        end_mass_roots(0.0, 0.0, 21)
