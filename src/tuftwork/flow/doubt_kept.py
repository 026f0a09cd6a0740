"""Doubts of a run as text beside its checkpoint: what was seen before a kill stays seen."""

import json
from dataclasses import asdict

from tuftwork.flow.doubt import Doubt, Lookout


def doubts_as_text(lookout: Lookout) -> str:
    """Return what a lookout has seen so far, by box of cells."""
    boxes = [{"mass": watch.mass, "found": [asdict(one) for one in watch.told()]}
             for watch in lookout.watches]  # fmt: skip
    return json.dumps(boxes)


def recall_doubts(lookout: Lookout, text: str) -> None:
    """Put back what a lookout had seen.

    Parameters
    ----------
    lookout
        Over the same boxes of cells.
    text
        As ``doubts_as_text`` gave it.
    """
    for watch, box in zip(lookout.watches, json.loads(text), strict=True):
        watch.mass = box["mass"]
        for told in box["found"]:
            at = None if told["at"] is None else tuple(told["at"])
            watch.found[told["kind"]] = Doubt(**(told | {"at": at}))
