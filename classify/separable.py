"""Least squares in which most parameters enter linearly: variable projection with priors.

In goes a function that gives the columns and their derivatives; out come all parameters with
their covariance. What the columns mean is not known here.

References
----------
.. [1] G. H. Golub, V. Pereyra, "The differentiation of pseudo-inverses and nonlinear least squares
   problems whose variables separate", SIAM J. Numer. Anal. 10 (1973) 413-432.
.. [2] D. W. Marquardt, "An algorithm for least-squares estimation of nonlinear parameters",
   J. SIAM 11 (1963) 431-441.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tracker.types import FloatArray

Columns = Callable[[FloatArray], tuple[FloatArray, FloatArray]]
"""Nonlinear parameters (q,) to the columns (m, p) and their derivatives (q, m, p)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Problem:
    """Data, columns and priors of a separable least-squares problem.

    Attributes
    ----------
    columns
        Gives the matrix whose columns the linear parameters multiply, and its derivatives.
    data
        (m,)
    weight
        (m,) one over the standard error of each datum; 0 leaves it out.
    mean, precision
        (q,) prior of the nonlinear parameters: its mean and one over its variance, 0 for none.
    lower, upper
        (q,) box in which they are looked for.
    linear_precision
        (p,) one over the prior variance of the linear parameters, 0 for none.
    linear_mean
        (p,) its mean.
    """

    columns: Columns
    data: FloatArray
    weight: FloatArray
    mean: FloatArray
    precision: FloatArray
    lower: FloatArray
    upper: FloatArray
    linear_precision: FloatArray
    linear_mean: FloatArray


@dataclass(frozen=True, kw_only=True, eq=False)
class Solution:
    """A minimum of a `Problem`.

    Attributes
    ----------
    nonlinear, linear
        (q,), (p,) parameters.
    cost
        Weighted sum of squares of residual and priors.
    residual
        (m,) weighted residual of the data, data less model.
    jacobian
        (m + p + q, q + p) derivative of the weighted model, rows of the two priors below.
    converged
        Whether the last step was small against the errors.
    """

    nonlinear: FloatArray
    linear: FloatArray
    cost: float
    residual: FloatArray
    jacobian: FloatArray
    converged: bool

    def covariance(self) -> FloatArray:
        """Invert the normal matrix of all parameters.

        Returns
        -------
        numpy.ndarray
            (q + p, q + p), nonlinear parameters first; for unit variance of the weighted residual.
        """
        scale = np.linalg.norm(self.jacobian, axis=0)
        scale[scale == 0] = 1.0
        R = np.linalg.qr(self.jacobian / scale, mode="r")
        _, singular, vt = np.linalg.svd(R)
        keep = singular > 1e-13 * singular[0]
        # A direction that nothing constrains has no finite variance: leave it huge, not zero.
        inverse = np.where(keep, 1.0 / np.maximum(singular, 1e-300), 1e13 / singular[0])
        root = vt.T * inverse / scale[:, None]
        return np.asarray(root @ root.T)


def solve(problem: Problem, start: FloatArray, *, steps: int = 60, tol: float = 1e-5) -> Solution:
    """Minimise over all parameters from one start.

    Parameters
    ----------
    problem
        What to minimise.
    start
        (q,) where to begin; moved into the box if outside.
    steps
        At most so many accepted or refused steps.
    tol
        Stop when a step would lower the cost by less than this fraction of 1 + cost.

    Returns
    -------
    Solution
        The minimum reached.
    """
    theta = np.clip(start, problem.lower, problem.upper)
    state = _project(problem, theta)
    damping, converged = 1e-3, False
    for _ in range(steps):
        r, J = state.r, state.J
        gradient = J.T @ r
        pinned = ((theta <= problem.lower) & (gradient > 0)) | (
            (theta >= problem.upper) & (gradient < 0)
        )
        free = ~pinned
        if not free.any():
            converged = True
            break
        H, g = J[:, free].T @ J[:, free], gradient[free]
        diagonal = np.maximum(np.diag(H), 1e-30)
        step = np.zeros_like(theta)
        step[free] = -np.linalg.solve(H + damping * np.diag(diagonal), g)
        trial = np.clip(theta + step, problem.lower, problem.upper)
        new = _project(problem, trial)
        if new.cost <= state.cost:
            gained = state.cost - new.cost
            theta, state = trial, new
            damping = max(damping / 8, 1e-12)
            if gained < tol * (1 + state.cost):
                converged = True
                break
        else:
            damping *= 6
            if damping > 1e8:
                converged = True
                break
    return _finish(problem, theta, state, converged)


@dataclass(frozen=True, kw_only=True, eq=False)
class _State:
    """The reduced problem at one point: residual with priors, its Jacobian, the linear part."""

    r: FloatArray
    J: FloatArray
    c: FloatArray
    cost: float
    A: FloatArray
    DA: FloatArray


def _project(problem: Problem, theta: FloatArray) -> _State:
    """Solve the linear part and differentiate what is left [1]_ (their equation 4.8)."""
    phi, dphi = problem.columns(theta)
    m, p = phi.shape
    root = np.sqrt(problem.linear_precision)
    A = np.concatenate([phi * problem.weight[:, None], np.diag(root)])
    b = np.concatenate([problem.data * problem.weight, root * problem.linear_mean])
    DA = dphi * problem.weight[:, None]
    Q, R = _thin_qr(A)
    # A general inverse: triangular solves of this size cost more in threads than in arithmetic.
    R_inverse = np.linalg.inv(R)
    c = R_inverse @ (Q.T @ b)
    r = b - A @ c
    # r = b - A c; dr = -(P_perp DA c) - (A^+)^T DA^T r.
    Dc = DA @ c  # (q, m)
    Dr = np.einsum("qmp,m->qp", DA, r[:m])
    first = np.concatenate([Dc, np.zeros((len(theta), p))], axis=1).T
    first -= Q @ (Q[:m].T @ Dc.T)
    second = Q @ (R_inverse.T @ Dr.T)
    prior = np.sqrt(problem.precision)
    r_all = np.concatenate([r, prior * (problem.mean - theta)])
    J = np.concatenate([-(first + second), -np.diag(prior)])
    return _State(r=r_all, J=J, c=c, cost=float(r_all @ r_all), A=A, DA=DA)


def _thin_qr(A: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Factorise, and keep columns that nothing constrains from dividing by zero."""
    Q, R = np.linalg.qr(A)
    diagonal = np.abs(np.diag(R))
    floor = 1e-14 * max(float(diagonal.max(initial=0.0)), 1e-300)
    weak = diagonal < floor
    if weak.any():
        R = R.copy()
        R[weak, weak] = 1e300  # the parameter becomes 0
    return Q, R


def _finish(problem: Problem, theta: FloatArray, state: _State, converged: bool) -> Solution:
    """Assemble the Jacobian of all parameters at the minimum."""
    m = len(problem.data)
    q, p = len(theta), len(state.c)
    jacobian = np.zeros((m + p + q, q + p))
    jacobian[:m, :q] = (state.DA @ state.c).T
    jacobian[: m + p, q:] = state.A
    jacobian[m + p :, :q] = np.diag(np.sqrt(problem.precision))
    return Solution(
        nonlinear=theta,
        linear=state.c,
        cost=state.cost,
        residual=state.r[:m],
        jacobian=jacobian,
        converged=converged,
    )
