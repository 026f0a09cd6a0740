"""Geometry: imported meshes mended or refused, lofts, the reference bluff body, a generic car."""

from tuftwork.shape.diffuser_body import diffuser_bluff_body
from tuftwork.shape.generic import (
    KINDS,
    GenericCar,
    generic_car,
    generic_numbers,
    impossible_numbers,
)
from tuftwork.shape.loft import block, drum, loft, reference_bluff_body
from tuftwork.shape.mesh import (
    Mesh,
    check_mesh,
    frontal_area,
    mend,
    open_edges,
)
from tuftwork.shape.place import at_ride_heights

__all__ = [
    "KINDS",
    "GenericCar",
    "Mesh",
    "at_ride_heights",
    "block",
    "check_mesh",
    "diffuser_bluff_body",
    "drum",
    "frontal_area",
    "generic_car",
    "generic_numbers",
    "impossible_numbers",
    "loft",
    "mend",
    "open_edges",
    "reference_bluff_body",
]
