"""What marks a vortex in a field of velocity: Q and λ2."""

from typing import Literal

import numpy as np
import numpy.typing as npt

from tuftwork.errors import InputError, UnknownName

Floats = npt.NDArray[np.float64]
Mark = Literal["q", "lambda2"]
MARKS: tuple[Mark, ...] = ("q", "lambda2")
"""Either is positive inside a vortex as returned by ``vortex_mark``: Q, and −λ2."""


def velocity_gradient(velocity: Floats, spacing: float = 1.0) -> Floats:
    """Return ∂u_i/∂x_j by central differences, one-sided at the faces.

    Parameters
    ----------
    velocity : (3, lz, ly, lx)
        Velocity on an even grid; an axis with a single layer has no gradient.
    spacing
        Distance of the points. [m]

    Returns
    -------
    gradient : (3, 3, lz, ly, lx)
        First index: component; second: direction. [velocity/m]

    Raises
    ------
    InputError
        If the field has not four axes or three components.
    """
    if velocity.ndim != 4 or len(velocity) != 3:
        limit = "must have shape (3, lz, ly, lx)"
        raise InputError("velocity", str(velocity.shape), "", limit)
    out = np.zeros((3, *velocity.shape), velocity.dtype)
    for i in range(3):
        for j in range(3):
            if velocity.shape[3 - j] > 1:  # the field's axes run z, y, x
                out[i, j] = np.gradient(velocity[i], spacing, axis=2 - j)
    return out


def q_criterion(gradient: Floats) -> Floats:
    """Return Q = ½(|Ω|² − |S|²) = −½ ∂u_i/∂x_j ∂u_j/∂x_i, positive where turning outweighs strain.

    Parameters
    ----------
    gradient : (3, 3, ...)
        ∂u_i/∂x_j. [1/s]

    Returns
    -------
    q : (...)
        [1/s²]

    Notes
    -----
    For a field without divergence; then it is also half the Laplacian of p/ρ.

    References
    ----------
    [hunt1988]
    """
    return np.asarray(-0.5 * np.einsum("ij...,ji...->...", gradient, gradient))


def lambda2(gradient: Floats) -> Floats:
    """Return the middle eigenvalue of S² + Ω², negative inside a vortex.

    Two negative eigenvalues mean that pressure, less the parts of it that strain and viscosity make
    without any vortex, has a least value in a plane.

    Parameters
    ----------
    gradient : (3, 3, ...)
        ∂u_i/∂x_j; places where one is not a number give not-a-number. [1/s]

    Returns
    -------
    value : (...)
        [1/s²]

    References
    ----------
    [jeong1995] section 4.
    """
    # S² + Ω² is the symmetric part of the square of the gradient
    square = np.einsum("ik...,kj...->ij...", gradient, gradient)
    return _middle_eigenvalue(0.5 * (square + np.swapaxes(square, 0, 1)))


def _middle_eigenvalue(m: Floats) -> Floats:
    """Middle eigenvalue of symmetric 3 × 3 matrices (3, 3, ...), by the trigonometric solution.

    The cubic in cos: with q a third of the trace and p² a sixth of |m − q|², the eigenvalues are
    q + 2p cos(φ + 2πk/3), where cos 3φ = det((m − q)/p)/2.
    """
    q = (m[0, 0] + m[1, 1] + m[2, 2]) / 3.0
    a, b, c = m[0, 0] - q, m[1, 1] - q, m[2, 2] - q
    d, e, f = m[0, 1], m[1, 2], m[0, 2]
    p = np.sqrt((a * a + b * b + c * c + 2.0 * (d * d + e * e + f * f)) / 6.0)
    safe = np.where(p > 0, p, 1.0)
    det = a * (b * c - e * e) - d * (d * c - e * f) + f * (d * e - b * f)
    angle = np.arccos(np.clip(0.5 * det / safe**3, -1.0, 1.0)) / 3.0
    # greatest and least lie at φ and φ + 2π/3: the middle one is what is left of the trace
    greatest = q + 2.0 * p * np.cos(angle)
    least = q + 2.0 * p * np.cos(angle + 2.0 * np.pi / 3.0)
    return np.asarray(3.0 * q - greatest - least)


def vortex_mark(velocity: Floats, spacing: float = 1.0, mark: str = "q") -> Floats:
    """Return Q or −λ2 of a velocity field, positive inside a vortex. Shape (lz, ly, lx). [1/s²].

    Parameters
    ----------
    velocity : (3, lz, ly, lx)
        [m/s]
    spacing
        [m]
    mark
        ``"q"`` or ``"lambda2"``.

    Raises
    ------
    UnknownName
        If the mark is neither.
    """
    if mark not in MARKS:
        raise UnknownName("mark", mark, MARKS)
    gradient = velocity_gradient(velocity, spacing)
    return q_criterion(gradient) if mark == "q" else np.asarray(-lambda2(gradient))
