"""Put a car drawn at one pair of ride heights down at another."""

from collections.abc import Collection, Sequence
from dataclasses import replace

from tuftwork.errors import InputError
from tuftwork.shape.mesh import Mesh


def at_ride_heights(
    meshes: Sequence[Mesh],
    *,
    wheelbase: float,
    change_front: float,
    change_rear: float,
    left_alone: Collection[str] = (),
) -> tuple[Mesh, ...]:
    """Return the parts with everything but the wheels moved as the springs let it.

    Heights change in proportion to the station, so that each axle line moves by what is asked;
    for the small angles of a car this is the pitch of a stiff body, lengths kept to 1e-4.

    Parameters
    ----------
    meshes
        Parts in car axes, front axle line at x = 0.
    wheelbase
        [m]
    change_front, change_rear
        Change of ride height at the axle lines. [m]
    left_alone
        Names of parts that stay where they are: the wheels.

    Returns
    -------
    moved
        Same parts, same order.

    Raises
    ------
    InputError
        If the wheelbase is not above zero or the pitch is beyond 0.1.
    """
    if not wheelbase > 0:
        raise InputError("wheelbase", wheelbase, "m", "must be above 0")
    pitch = (change_rear - change_front) / wheelbase
    if not abs(pitch) < 0.1:
        limit = "the ride heights tip the car from how it was drawn by more than 0.1 rad (5.7°)"
        cure = f"They change by {1e3 * change_front:.4g} mm in front and by "
        cure += f"{1e3 * change_rear:.4g} mm behind: look at their units."
        raise InputError("pitch", round(pitch, 4), "rad", limit, cure.replace("-", "−"))
    out = []
    for mesh in meshes:
        if mesh.name in left_alone:
            out.append(mesh)
            continue
        vertices = mesh.vertices.copy()
        vertices[:, 2] += change_front + pitch * vertices[:, 0]
        out.append(replace(mesh, vertices=vertices))
    return tuple(out)
