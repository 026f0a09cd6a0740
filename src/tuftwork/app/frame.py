"""Binary messages on the socket: a JSON header, then raw arrays.

Layout: u32 little-endian length of the header in bytes; the header as UTF-8 JSON, padded with
spaces so that the arrays begin on a multiple of 8; then each array, little-endian, padded to 8
bytes. ``header["arrays"]`` lists name, shape and dtype in the order of the arrays. The padding
lets a browser lay typed arrays over the message without a copy.
"""

import json
import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tuftwork.errors import InputError

_ALIGN = 8
DTYPES = {"float32": "<f4", "uint8": "u1", "int32": "<i4"}


def plain(tree: Any) -> Any:
    """Return a tree that JSON can hold: arrays become lists, numbers that are not finite null."""
    if isinstance(tree, Mapping):
        return {str(key): plain(value) for key, value in tree.items()}
    if isinstance(tree, list | tuple | set | frozenset):
        return [plain(value) for value in tree]
    if isinstance(tree, np.ndarray):
        return plain(tree.tolist())
    if isinstance(tree, np.generic):
        return plain(tree.item())
    if isinstance(tree, float):
        return tree if math.isfinite(tree) else None
    if tree is None or isinstance(tree, str | int | bool):
        return tree
    return str(tree)


def as_json(tree: Any) -> str:
    """Return strict JSON text of a tree."""
    return json.dumps(plain(tree), ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def pack(header: Mapping[str, Any], arrays: Mapping[str, ArrayLike] | None = None) -> bytes:
    """Return one message. Floating arrays travel as float32, which is ample for drawing."""
    blocks = {name: _shown(array) for name, array in (arrays or {}).items()}
    listed = [
        {"name": name, "shape": list(block.shape), "dtype": _name(block)}
        for name, block in blocks.items()
    ]
    head = as_json({**header, "arrays": listed}).encode()
    head += b" " * (-(4 + len(head)) % _ALIGN)
    parts = [len(head).to_bytes(4, "little"), head]
    for block in blocks.values():
        raw = block.tobytes()
        parts += [raw, b"\0" * (-len(raw) % _ALIGN)]
    return b"".join(parts)


def unpack(message: bytes) -> tuple[dict[str, Any], dict[str, NDArray[Any]]]:
    """Return header and arrays of one message.

    Raises
    ------
    InputError
        If the message is shorter than it says, or its header is no JSON object.
    """
    size = int.from_bytes(message[:4], "little")
    if len(message) < 4 + size:
        raise InputError("message", f"{len(message)}", "bytes", f"header needs {4 + size}")
    try:
        header = json.loads(message[4 : 4 + size])
    except ValueError as fault:
        raise InputError("header", "?", "", f"not JSON ({fault})") from fault
    if not isinstance(header, dict):
        raise InputError("header", type(header).__name__, "", "must be a JSON object")
    arrays: dict[str, NDArray[Any]] = {}
    start = 4 + size
    for entry in header.get("arrays", []):
        arrays[entry["name"]], start = _block(message, start, entry)
    return header, arrays


def _block(message: bytes, start: int, entry: Mapping[str, Any]) -> tuple[NDArray[Any], int]:
    dtype = np.dtype(DTYPES[entry["dtype"]])
    count = math.prod(entry["shape"])
    stop = start + count * dtype.itemsize
    if len(message) < stop:
        raise InputError("message", f"{len(message)}", "bytes", f"array needs {stop}")
    array = np.frombuffer(message, dtype, count, start).reshape(entry["shape"])
    return array, stop + (-(stop - start) % _ALIGN)


def _shown(array: ArrayLike) -> NDArray[Any]:
    block = np.asarray(array)
    if block.dtype.kind == "f":
        return np.ascontiguousarray(block, dtype="<f4")
    if block.dtype == np.uint8 or block.dtype.kind == "b":
        return np.ascontiguousarray(block, dtype="u1")
    return np.ascontiguousarray(block, dtype="<i4")


def _name(block: NDArray[Any]) -> str:
    return next(name for name, code in DTYPES.items() if np.dtype(code) == block.dtype)
