"""A message on the socket comes out as it went in, and is laid out as a browser needs it."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tuftwork.app.frame import as_json, pack, unpack
from tuftwork.errors import InputError


@given(
    word=st.text(max_size=30),
    sizes=st.lists(st.integers(0, 9), max_size=4),
)
def test_header_and_arrays_survive_the_way(word: str, sizes: list[int]) -> None:
    arrays = {f"a{k}": np.arange(n, dtype=np.float32) - 0.5 for k, n in enumerate(sizes)}
    header, got = unpack(pack({"word": word}, arrays))
    assert header["word"] == word
    assert list(got) == list(arrays)
    for name, array in arrays.items():
        np.testing.assert_array_equal(got[name], array)


@pytest.mark.parametrize("count", range(9))
def test_every_array_starts_on_a_multiple_of_eight(count: int) -> None:
    message = pack({"pad": "x" * count}, {"a": np.ones(count, np.uint8), "b": np.ones(3)})
    size = int.from_bytes(message[:4], "little")
    assert (4 + size) % 8 == 0
    assert len(message) % 8 == 0


def test_kinds_of_array_keep_their_kind() -> None:
    arrays = {"f": np.ones((2, 3)), "i": np.arange(3), "u": np.array([True, False])}
    header, got = unpack(pack({}, arrays))
    assert [entry["dtype"] for entry in header["arrays"]] == ["float32", "int32", "uint8"]
    assert got["f"].shape == (2, 3)


@pytest.mark.parametrize("cut", [1, 7, 8, 12])
def test_a_message_cut_short_is_refused(cut: int) -> None:
    with pytest.raises(InputError, match="bytes"):
        unpack(pack({"id": 1}, {"a": np.ones(4)})[:-cut])


@pytest.mark.parametrize("raw", [b"\x04\0\0\0null", b"\x04\0\0\0{{{{"])
def test_a_header_that_is_no_object_is_refused(raw: bytes) -> None:
    with pytest.raises(InputError):
        unpack(raw)


def test_numbers_that_are_not_finite_become_null() -> None:
    tree = {"a": float("nan"), "b": [np.float64("inf"), np.int64(3)], "c": np.array([1.0, np.nan])}
    assert json.loads(as_json(tree)) == {"a": None, "b": [None, 3], "c": [1.0, None]}
