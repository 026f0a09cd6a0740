"""Q and λ2 of flows whose gradients are known in closed form."""

import numpy as np
import pytest

from tuftwork.errors import InputError, UnknownName
from tuftwork.flow.vortex import lambda2, q_criterion, velocity_gradient, vortex_mark


def abc(n: int, a: float, b: float, c: float) -> tuple[np.ndarray, np.ndarray, float]:
    """Velocity of the flow of Arnold, Beltrami and Childress on n³ points, and its gradient."""
    h = 2 * np.pi / n
    z, y, x = np.meshgrid(*[h * np.arange(n)] * 3, indexing="ij")
    velocity = np.stack(
        [
            a * np.sin(z) + c * np.cos(y),
            b * np.sin(x) + a * np.cos(z),
            c * np.sin(y) + b * np.cos(x),
        ]
    )
    o = np.zeros_like(x)
    gradient = np.array(
        [
            [o, -c * np.sin(y), a * np.cos(z)],
            [b * np.cos(x), o, -a * np.sin(z)],
            [-b * np.sin(x), c * np.cos(y), o],
        ]
    )
    return velocity, gradient, h


def test_q_of_the_abc_flow_is_its_closed_form() -> None:
    """Exact: Q = bc sin y cos x + ab sin x cos z + ac sin z cos y, from −½ tr(∇u²)."""
    a, b, c = 1.0, 0.7, 0.4
    _, gradient, h = abc(16, a, b, c)
    z, y, x = np.meshgrid(*[h * np.arange(16)] * 3, indexing="ij")
    exact = (
        b * c * np.sin(y) * np.cos(x)
        + a * b * np.sin(x) * np.cos(z)
        + a * c * np.sin(z) * np.cos(y)
    )
    np.testing.assert_allclose(q_criterion(gradient), exact, atol=1e-13)


def test_differences_of_a_field_give_q_and_lambda2_to_second_order() -> None:
    """Exact gradients against central differences; the error falls by four with half the cell."""
    errors = []
    for n in (16, 32):
        velocity, gradient, h = abc(n, 1.0, 0.7, 0.4)
        inner = (slice(1, -1),) * 3
        found = velocity_gradient(velocity, h)
        errors.append(
            [np.abs(f(found)[inner] - f(gradient)[inner]).max() for f in (q_criterion, lambda2)]
        )
    ratio = np.array(errors[0]) / np.array(errors[1])
    assert np.all((ratio > 3.4) & (ratio < 4.6))


def test_lambda2_agrees_with_the_eigenvalues_of_a_general_library() -> None:
    """NumPy's symmetric eigenvalues of S² + Ω², random and degenerate matrices."""
    rng = np.random.default_rng(2)
    gradient = rng.standard_normal((3, 3, 400))
    gradient[..., :20] = np.eye(3)[:, :, None]  # all eigenvalues alike
    gradient[..., 20:40] = 0.0
    s, w = (0.5 * (gradient + sign * np.swapaxes(gradient, 0, 1)) for sign in (1, -1))
    square = sum(np.einsum("ik...,kj...->...ij", m, m) for m in (s, w))
    expected = np.linalg.eigvalsh(square)[:, 1]
    np.testing.assert_allclose(lambda2(gradient), expected, atol=1e-12)


def whirl(n: int, core: float, circulation: float) -> tuple[np.ndarray, np.ndarray, float]:
    """Rankine's vortex about z: solid turning within ``core``, a free vortex outside."""
    h = 4.0 / n
    y, x = np.meshgrid(
        h * (np.arange(n) + 0.5) - 2.0, h * (np.arange(n) + 0.5) - 2.0, indexing="ij"
    )
    r = np.hypot(x, y)
    turn = circulation / (2 * np.pi * np.maximum(r, core) ** 2)
    velocity = np.stack([-turn * y, turn * x, 0 * x])[:, None].repeat(3, axis=1)
    return velocity, r, h


def test_rankines_vortex_is_marked_in_its_core_and_nowhere_else() -> None:
    """Exact: core with Ω = Γ/2πa²: Q = −λ2 = Ω². Outside, with s = Γ/2πr²: Q = −s², λ2 = +s²."""
    core, circulation = 0.7, 2.0
    velocity, r, h = whirl(128, core, circulation)
    q, minus = (vortex_mark(velocity, h, mark)[1] for mark in ("q", "lambda2"))
    inside, outside = r < core - 2 * h, (r > core + 2 * h) & (r < 1.8)
    solid = (circulation / (2 * np.pi * core**2)) ** 2
    np.testing.assert_allclose(q[inside], solid, rtol=1e-10)
    # equal eigenvalues cost the trigonometric solution half of its digits
    np.testing.assert_allclose(minus[inside], solid, rtol=1e-7)
    free = (circulation / (2 * np.pi * r**2)) ** 2
    # differences over h: relative error of the strain about 2 (h/r)²
    budget = 2.5 * (h / core) ** 2 * 2
    np.testing.assert_allclose(q[outside], -free[outside], rtol=budget)
    np.testing.assert_allclose(minus[outside], -free[outside], rtol=budget)


def test_the_axis_of_burgers_vortex_is_marked_only_where_turning_beats_stretching() -> None:
    """Exact on the axis: ∇u = [[−α/2, −ω/2, 0], [ω/2, −α/2, 0], [0, 0, α]].

    S² + Ω² = diag(α²/4 − ω²/4, same, α²): λ2 < 0 where ω > α; Q = ω²/4 − 3α²/4 > 0 where ω > √3 α.
    So between ω = α and √3 α the two disagree, as is known of them (Jeong & Hussain 1995).
    """
    for alpha, omega in ((1.0, 0.8), (1.0, 1.4), (1.0, 3.0)):
        gradient = np.array(
            [[-alpha / 2, -omega / 2, 0], [omega / 2, -alpha / 2, 0], [0, 0, alpha]]
        )
        assert lambda2(gradient) == pytest.approx((alpha**2 - omega**2) / 4)
        assert q_criterion(gradient) == pytest.approx(omega**2 / 4 - 0.75 * alpha**2)


def test_what_is_no_field_or_no_mark_is_refused() -> None:
    with pytest.raises(InputError, match="must have shape"):
        velocity_gradient(np.zeros((2, 4, 4, 4)))
    with pytest.raises(UnknownName, match="lambda2"):
        vortex_mark(np.zeros((3, 4, 4, 4)), mark="swirl")
