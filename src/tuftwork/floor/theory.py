"""Closed forms of an under-floor: recovery, throat, leaking channel, ramp, fall of the force."""

import numpy as np

from tuftwork.errors import InputError
from tuftwork.quantity import Array, Numeric

_KAPPA = 1.4  # [-] ratio of air's heats
ONSET = 2.2  # [-] logit of the share lost at the peak: a tenth, where rise and fall balance


def pressure_recovery(area_ratio: Numeric, effectiveness: Numeric = 1.0) -> Array:
    """Return recovery over throat dynamic pressure: Cpr = η (1 − 1/AR²) [-].

    References
    ----------
    [runstadler1975] for η; the ideal value is Bernoulli's.
    """
    return np.asarray(effectiveness * (1 - 1 / np.square(area_ratio)))


def compressible_recovery(mach: Numeric, area_ratio: Numeric) -> Array:
    """Return recovery without loss over the throat's p₀ − p at a subsonic Mach number there [-].

    Isentropic air from the throat to ``area_ratio`` times its area; 1 − 1/AR² at Mach 0. What it
    differs by is what equations without density leave out.

    Raises
    ------
    InputError
        If the Mach number is not between 0 and 1, or the channel narrows.
    """
    m, ratio = np.broadcast_arrays(np.asarray(mach, float), np.asarray(area_ratio, float))
    if not (np.all(m > 0) and np.all(m < 1)):
        raise InputError("Mach number", float(np.max(m)), "", "must lie between 0 and 1")
    if not np.all(ratio >= 1):
        raise InputError("area ratio", float(np.min(ratio)), "", "must be 1 or more")
    half = 0.5 * (_KAPPA - 1)

    def passing(x: Numeric) -> Array:  # mass flow per area over the stagnant sound's
        own = np.asarray(x)
        return np.asarray(own * (1 + half * own**2) ** (-0.5 * (_KAPPA + 1) / (_KAPPA - 1)))

    low, high = np.zeros_like(m), m.copy()
    for _ in range(60):
        middle = 0.5 * (low + high)
        is_over = passing(middle) * ratio > passing(m)
        low, high = np.where(is_over, low, middle), np.where(is_over, middle, high)
    still = (1 + half * m**2) ** (_KAPPA / (_KAPPA - 1))  # p₀/p at the throat
    behind = (1 + half * high**2) ** (_KAPPA / (_KAPPA - 1))
    return np.asarray((still / behind - 1) / (still - 1))


def throat_speed(
    area_ratio: Numeric,
    base_pressure: Numeric,
    effectiveness: Numeric = 1.0,
    edge_loss: Numeric = 0.0,
    head: Numeric = 1.0,
) -> Array:
    """Return the speed at the kick line over that of the car [-].

    Head H less the loss κ (u − 1)² of air that leaks in at free-stream speed and mixes leaves the
    throat at Cp = H − κ (u−1)² − u², and the exit at Cp + Cpr u² = Cp_b:

        (1 − Cpr + κ) u² − 2 κ u + κ − (H − Cp_b) = 0.

    Without edge loss u² = (H − Cp_b)/(1 − Cpr).

    References
    ----------
    [cooper1998] for the core; the edge loss is a closure of our own, see the model's page.
    """
    k = np.asarray(edge_loss)
    a = 1 - pressure_recovery(area_ratio, effectiveness) + k
    drive = np.maximum(np.asarray(head) - base_pressure, 1e-6)
    return np.asarray((k + np.sqrt(np.maximum(k**2 - a * (k - drive), 0.0))) / a)


def leaking_channel_speed(
    distance: Numeric, entry_speed: Numeric, gap: Numeric, height: Numeric, width: Numeric,
    discharge: Numeric = 0.6,
) -> Array:  # fmt: skip
    """Return the speed in a channel that leaks at both edges, ``distance`` behind its entry [-].

    u = cosh(λ x + arccosh u₀), λ = 2 C_d g/(h w): continuity with Bernoulli's leak, no friction.
    """
    rate = leak_rate(gap, height, width, discharge)
    return np.asarray(np.cosh(rate * distance + np.arccosh(entry_speed)))


def leak_rate(gap: Numeric, height: Numeric, width: Numeric, discharge: Numeric) -> Array:
    """Return λ = 2 C_d g/(h w) of a channel that leaks at both edges [1/m]."""
    return np.asarray(2 * discharge * gap / (np.asarray(height) * width))


def mean_ramp_pressure(
    throat: Numeric, speed: Numeric, area_ratio: Numeric, effectiveness: Numeric = 1.0
) -> Array:
    """Return the mean Cp over a straight ramp: Cp_t + η u² (1 − 1/AR) [-]."""
    gained = effectiveness * np.square(speed) * (1 - 1 / np.asarray(area_ratio))
    return np.asarray(throat + gained)


def intact_share(height: Numeric, peak: Numeric, width: Numeric) -> Array:
    """Return the share of the recovery that stands at a ride height [-].

    A logistic step in height over peak height; a tenth is lost at the peak itself, and the step's
    half lies 2.2 widths below it.
    """
    below = (np.asarray(peak) - height) / (np.asarray(width) * peak)
    return np.asarray(1 / (1 + np.exp(np.clip(below - ONSET, -60, 60))))


def cone_loss(area_ratio: Numeric, angle: Numeric) -> Array:
    """Return the loss of a conical diffuser over throat dynamic pressure [-].

    K = 2.6 sin(φ/2) (1 − 1/AR)² for total angles φ up to 45°: a check on what any diffuser may
    recover, not the law of a floor's.

    References
    ----------
    [crane1988]
    """
    ratio = 1 - 1 / np.asarray(area_ratio)
    return np.asarray(2.6 * np.sin(np.asarray(angle) / 2) * np.square(ratio))


def jet_profile_factor(area_ratio: Numeric) -> Array:
    """Return the momentum factor at the exit of a fully separated core: (A2/A1)² [-]."""
    return np.asarray(np.square(area_ratio))
