"""Closures of the turbulent layer on floor and ramp, blended so that no jump stops an iteration.

Profiles are a wall law and a cosine wake (Coles), as integral methods for stalled diffusers take
them: with δ* = Λδ and a wall law of strength v,

    (H − 1)/H = 1.5 Λ + 0.179 v + 0.321 v²/Λ,   v = 0.145 (1 − 2Λ) at Re_δ* near 5,000,

whose friction is gone at Λ = 1/2, H = 4. Beyond that a region of dead air grows under a free shear
layer of that last shape: H grows without end, H1 and the entrainment stay. Written for the
compiled kernels: plain floats in, plain floats out.
"""

from typing import no_type_check

import numpy as np
from numba import njit

_APART = 0.75  # [-] (H − 1)/H where the wall's friction is gone
# 1.5 Λ² and its neighbours, with v put in
_A, _B, _C = 1.475088, -0.001042, 0.006749


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def entrainment_shape(h: float) -> float:
    """Return H1(H) of wall law and wake, level beyond detachment."""
    over = (h - 1.0) / h - _APART
    part = _APART + 0.5 * (over - np.sqrt(over * over + 1e-4))
    root = (part - _B) ** 2 - 4.0 * _A * _C
    root = 0.5 * (root + np.sqrt(root * root + 1e-5))
    blocked = (part - _B + np.sqrt(root)) / (2.0 * _A)
    return (1.0 - blocked) / (blocked * (1.0 - part))


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def entrainment(h1: float) -> float:
    """Return Head's entrainment."""
    return 0.0306 * (h1 - 3.0) ** -0.6169


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
