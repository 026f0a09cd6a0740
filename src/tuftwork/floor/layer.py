"""Closures of the turbulent layer on floor and ramp, blended so that no jump stops an iteration.

Written for the compiled kernels: plain floats in, plain floats out.
"""

from typing import no_type_check

import numpy as np
from numba import njit


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def entrainment_shape(h: float) -> float:
    """Return H1(H), falling throughout (Head's, in the fit of Cebeci and Bradshaw)."""
    over = h - 1.1
    over = 0.5 * (over + np.sqrt(over * over + 4e-4))
    low = 3.3 + 0.8234 * over**-1.287
    far = h - 0.6778
    far = 0.5 * (far + np.sqrt(far * far + 4e-4))
    high = 3.3 + 1.5501 * far**-3.064
    # the printed fit jumps by 0.02 at 1.6: both branches are blended over a tenth
    w = 1.0 / (1.0 + np.exp(-min(max((h - 1.6) / 0.04, -60.0), 60.0)))
    return (1.0 - w) * low + w * high


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def entrainment(h1: float) -> float:
    """Return Head's entrainment, levelling off at 0.04."""
    e = 0.0306 * (h1 - 3.0) ** -0.6169
    return (e**-8 + 0.04**-8) ** -0.125


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def skin_friction(h: float, re: float) -> float:
    """Return cf of Ludwieg and Tillmann from H and Re_theta."""
    return 0.246 * 10.0 ** (-0.678 * h) * max(re, 20.0) ** -0.268


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def orifice(dp: float, soft: float) -> float:
    """Return the signed speed through a gap, sqrt(2|dp|), smooth through zero."""
    return dp * np.sqrt(2.0) / (dp * dp + soft * soft) ** 0.25


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def positive(x: float, soft: float) -> float:
    """Return max(x, 0), smooth."""
    return 0.5 * (x + np.sqrt(x * x + soft * soft))
