"""What is known of an arrow goes in; yaw, bending, damping and speed to expect come out.

Each carries its sigma. Parts nobody gave are taken from the population of recurve target arrows and
their spread is carried to first order; where that leaves more doubt than knowing nothing at all,
nothing is claimed from the set-up and the broad prior stands.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from classify.physics.arrow import POPULATION, Arrow, bending_hz, centre_of_mass_m, complete
from classify.physics.inputs import need_not_negative, need_positive
from classify.physics.yaw import yaw_motion
from classify.types import ArrowSpec, Estimate, Prediction
from tracker.types import InputError

BROAD_SPEED = Estimate(value=55.0, sigma=5.0)
"""Recurve arrows leave at 45 to 65 m/s (common practice)."""
BROAD_YAW_HZ = Estimate(value=2.8, sigma=0.35)
"""At 55 m/s; the theory gives 1.7 to 4.5 Hz over target arrows. Sigma of the logarithm."""
BROAD_BENDING_HZ = Estimate(value=78.0, sigma=0.12)
"""65 to 95 Hz over target arrows. Sigma of the logarithm."""
BROAD_YAW_DAMPING = Estimate(value=0.09, sigma=0.04)
"""Chosen here about the theory's 0.06 to 0.12."""

YAW_FLOOR = 0.30
"""Error of the yaw theory itself (logarithm): never checked against an arrow in free flight."""
BENDING_FLOOR = 0.08
"""Error of the uniform-shaft model (logarithm): real shafts taper; chosen here."""

BROAD_MM_PER_DEGREE = Estimate(value=7.7, sigma=0.3)
"""7.2 to 8.1 mm over target arrows: the arm from nock to balance point times one degree."""
BALANCE_ERROR = 0.01
"""How well a balance point is measured or worked out from weights, as a share; chosen here."""

LN_STEP = 1e-3


def predict(arrow: ArrowSpec | None, *, speed_m_s: Estimate | None) -> Prediction:
    """Say what physics expects of an arrow before the clip is looked at.

    Parameters
    ----------
    arrow
        As far as the set-up sheet knows it; None if there is no sheet.
    speed_m_s
        At release with its standard error; None if nobody measured it.

    Returns
    -------
    Prediction
        `from_` is "set-up" if both frequencies rest on the sheet; `assumed` names the parts that
        were filled in.

    Raises
    ------
    InputError
        If a part that was given cannot be, or the speed is not positive and finite.

    Examples
    --------
    >>> predict(None, speed_m_s=None).yaw_hz
    Estimate(value=2.8, sigma=0.35)
    >>> sheet = ArrowSpec(spine=600.0, length_m=0.7239, point_kg=0.00648)
    >>> round(predict(sheet, speed_m_s=None).bending_hz.value)
    74
    """
    speed = _checked(speed_m_s) if speed_m_s is not None else BROAD_SPEED
    broad = broad_prediction(speed)
    if arrow is None:
        return broad
    _, assumed = complete(arrow)
    bending = _from_parts(arrow, bending_hz, BENDING_FLOOR, broad.bending_hz)
    yaw, damping = _yaw(arrow, speed, broad)
    on_sheet = bending is not broad.bending_hz and yaw is not broad.yaw_hz
    return replace(
        broad,
        yaw_hz=yaw,
        bending_hz=bending,
        yaw_damping_ratio=damping,
        from_="set-up" if on_sheet else "broad prior",
        assumed=assumed,
    )


def mm_per_degree(arrow: ArrowSpec | None) -> Estimate:
    """Say how far the nock moves about the flight path for a degree of yaw.

    Parameters
    ----------
    arrow
        As far as the set-up sheet knows it; None if there is no sheet.

    Returns
    -------
    Estimate
        Millimetres per degree: the distance from nock to balance point times one degree.

    Raises
    ------
    InputError
        If a part that was given cannot be.

    Examples
    --------
    >>> round(mm_per_degree(ArrowSpec(balance_m=0.4584, length_m=0.72)).value, 2)
    8.0
    """
    if arrow is None:
        return BROAD_MM_PER_DEGREE
    whole, _ = complete(arrow)
    if arrow.balance_m is not None:
        lever_m, spread = arrow.balance_m, BALANCE_ERROR
    else:
        spread = math.hypot(BALANCE_ERROR, _ln_spread(arrow, centre_of_mass_m))
        lever_m = centre_of_mass_m(whole)
    mm = 1e3 * lever_m * math.radians(1.0)
    return Estimate(value=mm, sigma=mm * spread)


def broad_prediction(speed_m_s: Estimate) -> Prediction:
    """Say what to expect of a recurve target arrow of which nothing is known but its speed.

    Parameters
    ----------
    speed_m_s
        At release; rigid yaw goes in proportion to it, bending does not.

    Returns
    -------
    Prediction

    Raises
    ------
    InputError
        If the speed is not positive and finite.

    Examples
    --------
    >>> round(broad_prediction(Estimate(value=44.0, sigma=1.0)).yaw_hz.value, 2)
    2.24
    """
    speed = _checked(speed_m_s)
    yaw_hz = BROAD_YAW_HZ.value * speed.value / BROAD_SPEED.value
    return Prediction(
        yaw_hz=Estimate(value=yaw_hz, sigma=BROAD_YAW_HZ.sigma),
        bending_hz=BROAD_BENDING_HZ,
        yaw_damping_ratio=BROAD_YAW_DAMPING,
        speed_m_s=speed,
        from_="broad prior",
    )


def yaw_is_usual(prediction: Prediction) -> bool:
    """Tell whether a typical arrow's yaw stands for that of this one.

    Parameters
    ----------
    prediction
        Of `predict`.

    Returns
    -------
    bool
        True where nobody said anything of the arrow, and where its sheet leaves more open than
        knowing nothing at all.
    """
    return prediction.yaw_hz == broad_prediction(prediction.speed_m_s).yaw_hz


def _checked(speed: Estimate) -> Estimate:
    need_positive("speed_m_s", speed.value)
    need_not_negative("speed sigma_m_s", speed.sigma)
    return speed


def _yaw(spec: ArrowSpec, speed: Estimate, broad: Prediction) -> tuple[Estimate, Estimate]:
    """Yaw frequency and damping ratio from the sheet, or both from the broad prior."""

    def frequency(arrow: Arrow) -> float:
        return yaw_motion(arrow, speed.value).frequency_hz

    def damping(arrow: Arrow) -> float:
        return yaw_motion(arrow, speed.value).damping_ratio

    floor = math.hypot(YAW_FLOOR, speed.sigma / speed.value)
    try:
        yaw = _from_parts(spec, frequency, floor, broad.yaw_hz)
    except InputError as error:
        if error.message.key != "plan.turns_over":
            raise
        # a bare shaft: slender-body theory leaves out the drag of the shaft that rights it
        return broad.yaw_hz, broad.yaw_damping_ratio
    if yaw is broad.yaw_hz:
        return yaw, broad.yaw_damping_ratio
    ratio = damping(complete(spec)[0])
    spread = math.hypot(YAW_FLOOR, _ln_spread(spec, damping))
    return yaw, Estimate(value=ratio, sigma=ratio * spread)


def _from_parts(
    spec: ArrowSpec, quantity: Callable[[Arrow], float], floor: float, broad: Estimate
) -> Estimate:
    """Value and log-sigma from the sheet, or `broad` itself where that is surer."""
    sigma = math.hypot(floor, _ln_spread(spec, quantity))
    return (
        broad if sigma > broad.sigma else Estimate(value=quantity(complete(spec)[0]), sigma=sigma)
    )


def _ln_spread(spec: ArrowSpec, quantity: Callable[[Arrow], float]) -> float:
    """Sigma of the quantity's logarithm that the assumed parts leave, to first order."""
    arrow, assumed = complete(spec)
    base = math.log(quantity(arrow))
    variance = 0.0
    for name in assumed:
        moved = replace(spec, **{name: getattr(arrow, name) * math.exp(LN_STEP)})
        slope = (math.log(quantity(complete(moved)[0])) - base) / LN_STEP
        variance += (slope * POPULATION[name][1]) ** 2
    return math.sqrt(variance)
