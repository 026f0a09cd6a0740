"""Finished runs of the 3-D flow as one file: arrays by name, the rest as text, nothing pickled.

Whole numbers of two dimensions (corner numbers, places in tenths of a millimetre) stand in the file
as differences from row to row, which makes it less than half as large; ``record.json`` marks them.
"""

import json
from io import BytesIO
from pathlib import Path
from typing import Any
from zipfile import BadZipFile

import numpy as np

from tuftwork.errors import Fault, FileFault
from tuftwork.files.atomic import write_atomic

FORM = 1
"""Version of the file's form."""
_TEXT = "record.json"
_ARRAY, _DIFFERENCE = "array", "rows"


def write_flow_record(path: Path, tree: dict[str, Any]) -> None:
    """Write a record, whole or not at all: a compressed ``.npz`` file.

    Parameters
    ----------
    path
        Where to write.
    tree
        Nested dicts and lists of words, numbers and arrays; an array stands in the file under the
        keys that lead to it.
    """
    arrays: dict[str, np.ndarray] = {}
    text = json.dumps({"form": FORM, **_plain(tree, "", arrays)}, ensure_ascii=False)
    buffer = BytesIO()
    held = arrays | {_TEXT: np.frombuffer(text.encode(), dtype=np.uint8)}
    np.savez_compressed(buffer, **held)  # type: ignore[arg-type]
    write_atomic(path, buffer.getvalue())


def read_flow_record(path: Path, *, arrays: bool = True) -> dict[str, Any]:
    """Return a record as it was written.

    Parameters
    ----------
    path
        The file.
    arrays
        Whether arrays are read too; loads and words are there at once without them.

    Raises
    ------
    FileFault
        If the file is missing, damaged or of another form.
    """
    try:
        with np.load(path, allow_pickle=False) as held:
            tree = json.loads(held[_TEXT].tobytes().decode())
            form = tree.get("form")
            if form == FORM:
                found: dict[str, Any] = _restored(tree, held) if arrays else tree
                return found
    except FileNotFoundError:
        raise FileFault([Fault(what="no such file", file=path.name)]) from None
    except (OSError, ValueError, KeyError, EOFError, BadZipFile) as error:
        fault = Fault(what="cannot be read as a run of the 3-D flow", file=path.name,
                      found=str(error))  # fmt: skip
        raise FileFault([fault]) from error
    fault = Fault(what="is a run of another form", file=path.name, found=str(form),
                  expected=str(FORM))  # fmt: skip
    raise FileFault([fault])


def _plain(tree: Any, place: str, arrays: dict[str, np.ndarray]) -> Any:
    if isinstance(tree, np.ndarray):
        name = place.removeprefix("/")
        if tree.dtype.kind == "i" and tree.ndim == 2:
            arrays[name] = np.diff(tree, axis=0, prepend=tree.dtype.type(0)).astype(tree.dtype)
            return {_ARRAY: name, _DIFFERENCE: "differences"}
        arrays[name] = tree
        return {_ARRAY: name}
    if isinstance(tree, dict):
        return {str(k): _plain(v, f"{place}/{k}", arrays) for k, v in tree.items()}
    if isinstance(tree, list | tuple):
        return [_plain(v, f"{place}/{n}", arrays) for n, v in enumerate(tree)]
    if isinstance(tree, np.generic):
        return tree.item()
    return tree


def _restored(tree: Any, held: Any) -> Any:
    if isinstance(tree, dict):
        if _ARRAY in tree and set(tree) <= {_ARRAY, _DIFFERENCE}:
            found = held[tree[_ARRAY]]
            return np.cumsum(found, axis=0, dtype=found.dtype) if _DIFFERENCE in tree else found
        return {key: _restored(value, held) for key, value in tree.items()}
    if isinstance(tree, list):
        return [_restored(value, held) for value in tree]
    return tree
