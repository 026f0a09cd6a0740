"""Results on disk, each under the digest of what it was made from.

A result is a tree of dicts, lists, strings, numbers, booleans, None and NumPy arrays; it is one
``.npz`` file without pickled objects, written to a temporary file and renamed.
"""

import hashlib
import json
from io import BytesIO
from pathlib import Path
from typing import Any
from zipfile import BadZipFile

import numpy as np

from tuftwork.errors import InputError
from tuftwork.files import write_atomic

Tree = Any
"""Nested dicts, lists, scalars and arrays."""

_ARRAY = "__array__"
_TREE = "__tree__"


def digest_of(tree: Tree) -> str:
    """Return the SHA-256 of a tree, the same for equal contents on every machine."""
    arrays: list[np.ndarray] = []
    text = json.dumps(_flattened(tree, arrays), sort_keys=True, ensure_ascii=False)
    sha = hashlib.sha256(text.encode())
    for array in arrays:
        sha.update(f"{array.dtype.str}{array.shape}".encode())
        sha.update(np.ascontiguousarray(array).tobytes())
    return sha.hexdigest()


class Store:
    """Results of steps below one folder, found by digest."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def path_of(self, digest: str) -> Path:
        """Return where the result with this digest lies or would lie."""
        return self.folder / digest[:2] / f"{digest}.npz"

    def __contains__(self, digest: str) -> bool:
        return self.path_of(digest).is_file()

    def save(self, digest: str, tree: Tree) -> None:
        """Write a result under its digest, whole or not at all."""
        arrays: list[np.ndarray] = []
        text = json.dumps(_flattened(tree, arrays), ensure_ascii=False)
        named = {f"a{i}": array for i, array in enumerate(arrays)}
        named[_TREE] = np.frombuffer(text.encode(), dtype=np.uint8)

        buffer = BytesIO()
        np.savez(buffer, **named)  # type: ignore[arg-type]
        path = self.path_of(digest)
        path.parent.mkdir(parents=True, exist_ok=True)
        write_atomic(path, buffer.getvalue())

    def load(self, digest: str) -> Tree | None:
        """Return a result, or None where there is none or the file is damaged."""
        path = self.path_of(digest)
        try:
            # opened here: a file cut short would otherwise stay open
            with path.open("rb") as opened, np.load(opened, allow_pickle=False) as held:
                tree = json.loads(held[_TREE].tobytes().decode())
                return _restored(tree, held)
        except FileNotFoundError:
            return None
        except (OSError, ValueError, KeyError, EOFError, BadZipFile):
            # a damaged result is only a result to be computed again
            path.unlink(missing_ok=True)
            return None


def _flattened(tree: Tree, arrays: list[np.ndarray]) -> Tree:
    if isinstance(tree, np.ndarray):
        if tree.dtype == object:
            raise InputError("array", str(tree.dtype), "", "a result holds numbers only")
        arrays.append(tree)
        return {_ARRAY: len(arrays) - 1}
    if isinstance(tree, dict):
        return {str(key): _flattened(value, arrays) for key, value in tree.items()}
    if isinstance(tree, list | tuple):
        return [_flattened(value, arrays) for value in tree]
    if isinstance(tree, np.generic):
        return tree.item()
    if tree is None or isinstance(tree, str | bool | int | float):
        return tree
    raise InputError("result", type(tree).__name__, "", "cannot be kept in a result")


def _restored(tree: Tree, held: Any) -> Tree:
    if isinstance(tree, dict):
        if set(tree) == {_ARRAY}:
            return held[f"a{tree[_ARRAY]}"]
        return {key: _restored(value, held) for key, value in tree.items()}
    if isinstance(tree, list):
        return [_restored(value, held) for value in tree]
    return tree
