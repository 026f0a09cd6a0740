"""The aero numbers a lap asks for: axle downforce and drag areas over ride heights and states."""

from dataclasses import dataclass, field

import numpy as np

from tuftwork.errors import InputError
from tuftwork.quantity import Array


@dataclass(frozen=True, slots=True, kw_only=True)
class AeroTable:
    """Axle downforce areas and drag area over ride heights, one block for each device state.

    Parameters
    ----------
    ride_height_front, ride_height_rear : (n_hf,), (n_hr,)
        Axes, rising, at the axle lines. [m]
    downforce_front, downforce_rear, drag : (n_state, n_hf, n_hr) or (n_draw, n_state, n_hf, n_hr)
        CzS at each axle's contact patch and CxS. Draws, if any, lead. [m²]
    states : (n_state,)
        Names of the device states, in the order of the blocks. [-]
    roll_loss_front, roll_loss_rear : ()
        ℓ in 1/(1 + ℓ φ²), what roll φ leaves of axle downforce. [1/rad²]

    Notes
    -----
    Between nodes the fields are bicubic Hermite with slopes that do not overshoot, so that lap
    time has smooth slopes with ride height; outside they go on in a straight line and the share
    of the lap spent there is reported.

    References
    ----------
    [fritsch1984] for the slopes.
    """

    ride_height_front: Array
    ride_height_rear: Array
    downforce_front: Array
    downforce_rear: Array
    drag: Array
    states: tuple[str, ...] = ("fixed",)
    roll_loss_front: float = 0.0
    roll_loss_rear: float = 0.0
    coefficients: Array = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        for name in ("ride_height_front", "ride_height_rear"):
            axis = np.ascontiguousarray(getattr(self, name), dtype=float)
            if axis.ndim != 1 or axis.size < 2 or not np.all(np.diff(axis) > 0):
                raise InputError(name, "axis", "m", "needs at least two rising values")
            if not np.all(np.abs(axis) < 1.0):
                raise InputError(
                    name, float(np.max(np.abs(axis))), "m", "must be below 1", "Given in mm?"
                )
            object.__setattr__(self, name, axis)
        shape = (len(self.states), self.ride_height_front.size, self.ride_height_rear.size)
        for name in ("downforce_front", "downforce_rear", "drag"):
            values = np.asarray(getattr(self, name), dtype=float)
            if values.ndim not in (3, 4) or values.shape[-3:] != shape:
                raise InputError(
                    name,
                    str(values.shape),
                    "",
                    f"last three axes must be {shape}",
                    "Order: state, front ride height, rear ride height.",
                )
            if not np.all(np.isfinite(values)):
                raise InputError(name, float("nan"), "m²", "must be finite", "Fill the gap first.")
            object.__setattr__(self, name, values)
        object.__setattr__(self, "coefficients", _coefficients(self))

    @property
    def n_draw(self) -> int:
        """Number of draws held; 1 if the table has no draw axis."""
        return int(self.coefficients.shape[0])

    def of_draw(self, draw: int) -> Array:
        """Return the coefficients of one draw; a single table serves every draw."""
        return np.asarray(self.coefficients[draw if self.n_draw > 1 else 0])


def _coefficients(table: AeroTable) -> Array:
    """Return bicubic coefficients (draw, state, i, j, field, power of u, power of w)."""
    x, y = table.ride_height_front, table.ride_height_rear
    fields = np.stack(
        np.broadcast_arrays(table.downforce_front, table.downforce_rear, table.drag), axis=-3
    )
    if fields.ndim == 4:
        fields = fields[None]
    fx = _slopes(x, fields, -2)
    fy = _slopes(y, fields, -1)
    fxy = _slopes(x, fy, -2)
    dx, dy = np.diff(x)[:, None], np.diff(y)[None, :]

    def corners(a: Array, scale: Array | float) -> list[list[Array]]:
        lo, hi = a[..., :-1, :], a[..., 1:, :]
        return [[lo[..., :-1] * scale, lo[..., 1:] * scale],
                [hi[..., :-1] * scale, hi[..., 1:] * scale]]  # fmt: skip

    f, u, w, c = corners(fields, 1.0), corners(fx, dx), corners(fy, dy), corners(fxy, dx * dy)
    # rows of H turn (f0, f1, m0, m1) into powers of the local coordinate
    h = np.array([[1, 0, 0, 0], [0, 0, 1, 0], [-3, 3, -2, -1], [2, -2, 1, 1]], dtype=float)
    block = np.empty((16, *np.moveaxis(f[0][0], -3, -1).shape))
    for a in range(2):
        for b in range(2):
            for place, part in ((0, f), (2, w), (8, u), (10, c)):
                block[place + 4 * a + b] = np.moveaxis(part[a][b], -3, -1)
    out = np.kron(h, h) @ block.reshape(16, -1)
    return np.ascontiguousarray(out.T.reshape((*block.shape[1:], 4, 4)))


def _slopes(axis: Array, values: Array, along: int) -> Array:
    """Return slopes along one axis: non-overshooting where there are three nodes or more."""
    if axis.size == 2:
        d = np.diff(values, axis=along) / (axis[1] - axis[0])
        return np.concatenate([d, d], axis=along)
    shape = [1] * values.ndim
    shape[along] = -1
    h = np.diff(axis)
    d = np.diff(values, axis=along) / h.reshape(shape)
    before, after = _cut(d, along, 0, -1), _cut(d, along, 1, None)
    # weighted harmonic mean of the neighbours; flat where they disagree in sign
    w = ((2.0 * h[1:] + h[:-1]).reshape(shape), (h[1:] + 2.0 * h[:-1]).reshape(shape))
    product = before * after
    mixed = w[0] * after + w[1] * before
    with np.errstate(divide="ignore", invalid="ignore"):
        inner = np.where(product > 0.0, (w[0] + w[1]) * product / mixed, 0.0)
    ends = [
        _end_slope((h[i], h[j]), _cut(d, along, i, i + 1 or None), _cut(d, along, j, j + 1 or None))
        for i, j in ((0, 1), (-1, -2))
    ]
    return np.concatenate([ends[0], inner, ends[1]], axis=along)


def _cut(values: Array, along: int, start: int, stop: int | None) -> Array:
    """Return a slice along one axis, which stays."""
    index: list[slice] = [slice(None)] * values.ndim
    index[along] = slice(start, stop)
    return np.asarray(values[tuple(index)])


def _end_slope(step: tuple[float, float], first: Array, second: Array) -> Array:
    """Return the three-point slope at an end, kept from overshooting."""
    slope = ((2.0 * step[0] + step[1]) * first - step[0] * second) / (step[0] + step[1])
    slope = np.where(np.sign(slope) != np.sign(first), 0.0, slope)
    steep = (np.sign(first) != np.sign(second)) & (np.abs(slope) > 3.0 * np.abs(first))
    return np.where(steep, 3.0 * first, slope)


def constant_table(downforce_front: float, downforce_rear: float, drag: float) -> AeroTable:
    """Return a table that does not change with ride height.

    Parameters
    ----------
    downforce_front, downforce_rear, drag : ()
        CzS front and rear, CxS. [m²]

    Returns
    -------
    table : ()
        Two by two table from 0 to 0.5 m. [m²]
    """
    axis = np.array([0.0, 0.5])
    one = np.ones((1, 2, 2))
    return AeroTable(
        ride_height_front=axis,
        ride_height_rear=axis,
        downforce_front=one * downforce_front,
        downforce_rear=one * downforce_rear,
        drag=one * drag,
    )
