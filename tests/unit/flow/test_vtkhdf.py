"""VTK HDF images: the layout of the open specification, and the values as they were."""

from io import BytesIO

import h5py
import numpy as np
import pytest

from tuftwork.errors import InputError
from tuftwork.flow.vtkhdf import image_bytes


def named() -> dict[str, np.ndarray]:
    rng = np.random.default_rng(1)
    pressure = rng.random((3, 4, 5))
    pressure[1, 2, 3] = np.nan
    return {"pressure_coefficient": pressure, "velocity": rng.random((3, 3, 4, 5))}


def test_the_file_has_the_layout_of_the_specification() -> None:
    data = image_bytes(named(), (1.0, 2.0, 3.0), 0.5, {"state": "mean"})
    with h5py.File(BytesIO(data)) as file:
        root = file["VTKHDF"]
        assert tuple(root.attrs["Version"]) == (2, 0)
        kind = root.attrs.get_id("Type").get_type()
        # a string of fixed length in ASCII, as readers ask for
        assert not kind.is_variable_str()
        assert kind.get_cset() == h5py.h5t.CSET_ASCII
        assert root.attrs["Type"] == b"ImageData"
        assert list(root.attrs["WholeExtent"]) == [0, 4, 0, 3, 0, 2]
        assert list(root.attrs["Origin"]) == [1.0, 2.0, 3.0]
        assert list(root.attrs["Spacing"]) == [0.5, 0.5, 0.5]
        assert list(root.attrs["Direction"]) == list(np.eye(3).ravel())
        assert root["PointData"].attrs["Scalars"] == b"pressure_coefficient"
        assert root["PointData"].attrs["Vectors"] == b"velocity"
        assert file["about"].attrs["state"] == "mean"


def test_values_come_back_with_x_fastest_and_vectors_last() -> None:
    fields = named()
    with h5py.File(BytesIO(image_bytes(fields, (0.0, 0.0, 0.0), 1.0))) as file:
        point = file["VTKHDF/PointData"]
        np.testing.assert_allclose(
            point["pressure_coefficient"][:], fields["pressure_coefficient"], rtol=1e-6
        )
        np.testing.assert_allclose(
            point["velocity"][:], np.moveaxis(fields["velocity"], 0, -1), rtol=1e-6
        )


def test_fields_of_two_sizes_are_refused() -> None:
    with pytest.raises(InputError, match="one size"):
        image_bytes({"a": np.zeros((2, 2, 2)), "b": np.zeros((2, 2, 3))}, (0.0, 0.0, 0.0), 1.0)
