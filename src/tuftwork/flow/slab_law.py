"""What several cards bring: memory for each, time of a step, share of the ideal, told beforehand.

A box of layers is cut into as many slabs as there are cards. In a step a slab hands nine
populations of one layer to each neighbour and gets as many back. With c cells of a slab, p of a
layer, s bytes a number, m neighbours, r cell updates a second, a link of b bytes a second each way
and a waiting time l,

    t = c / r + exposed,   t_x = l + 9 p s m / b,
    exposed = t_x                                   without overlap
            = ½ t_x + max(0, t_x − (c − 2 p) / r)   with overlap:

planes take memory and multiprocessors from the cells even while they travel beside them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from tuftwork.errors import InputError
from tuftwork.flow.engine import Precision
from tuftwork.flow.slab import N_CROSSING, THINNEST
from tuftwork.flow.slab_nest import Column, cut_planes

LINK = 1.63e11
"""Planes gathered, sent and put in place, each way at once: fitted to two H100 of one host, joined
by 18 links, through NCCL; a plain copy between them ran at 3.9e11. [B/s]"""
WAIT = 3.9e-5
"""Time of an exchange that does not depend on its size, fitted to the same. [s]"""
EXPOSED = 0.5
"""Share of an exchange that shows although it runs beside the cells, seen in the same. [-]"""
SIZE: dict[Precision, int] = {"float64": 8, "float32": 4, "float16": 2}
MARK_AND_MEANS = 1 + 4 * 4 + 2
"""Mark of a cell, its four running means and two marks of where one looks, on a card. [B]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """What one of several cards does, the fullest of them.

    Attributes
    ----------
    cards
        How many.
    layers
        Layers of its slab, halo not counted.
    memory
        Populations, marks, means and planes. [B]
    halo
        Bytes that it sends in a step. [B]
    seconds
        Time of a step. [s]
    efficiency
        Time of the step on one card over that on all of them, over their number. [-]
    """

    cards: int
    layers: int
    memory: float
    halo: float
    seconds: float
    efficiency: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Links:
    """How cards are joined.

    Attributes
    ----------
    link
        Bytes a second each way. [B/s]
    wait
        Time of an exchange of any size. [s]
    exposed
        Share of an exchange that shows although it runs beside the cells. [-]
    """

    link: float = LINK
    wait: float = WAIT
    exposed: float = EXPOSED


SAME_HOST = Links()


def share_of(
    shape: tuple[int, int, int],
    cards: int,
    *,
    rate: float,
    precision: Precision = "float32",
    links: Links = SAME_HOST,
    overlap: bool = True,
    is_closed: bool = False,
) -> Share:
    """Return memory, halo and time of the fullest of several cards.

    Parameters
    ----------
    shape
        Cells along x, y, z of the whole box.
    cards
        How many.
    rate
        Cell updates a second of one card. [1/s]
    precision
        Storage of the populations.
    links
        How the cards are joined.
    overlap
        Whether planes travel beside the inner cells.
    is_closed
        The box closes on itself from top to bottom; a road or a prescribed stream does not.

    Returns
    -------
    share
        Of the fullest card.

    Raises
    ------
    InputError
        If slabs would be thinner than four layers, or a rate is not above zero.

    Examples
    --------
    >>> one = share_of((512, 256, 256), 1, rate=1e10)
    >>> two = share_of((512, 256, 512), 2, rate=1e10, is_closed=True)
    >>> two.layers == one.layers and 0.97 < one.seconds / two.seconds < 1.0
    True
    """
    lx, ly, lz = shape
    if not 1 <= cards <= max(lz // THINNEST, 1):
        limit = f"must be from 1 to {max(lz // THINNEST, 1)}"
        cure = f"The box has {lz} layers; a slab holds at least {THINNEST}."
        raise InputError("cards", cards, "", limit, cure)
    if not rate > 0:
        raise InputError("rate", rate, "1/s", "must be above 0")
    layers, plane, size = -(-lz // cards), lx * ly, SIZE[precision]
    one = lz * plane / rate
    halo = neighbours = 0
    if cards > 1:
        neighbours = 2 if is_closed or cards > 2 else 1
        halo = N_CROSSING * plane * size * neighbours
    seconds = layers * plane / rate
    if cards > 1:
        seconds += _shows(halo, max(layers - 2, 0) * plane / rate, links, overlap)
    return Share(
        cards=cards,
        layers=layers,
        memory=float(slab_memory(plane, layers, neighbours, precision)),
        halo=float(halo),
        seconds=seconds,
        efficiency=one / seconds / cards,
    )


def _shows(halo: float, inner: float, links: Links, overlap: bool) -> float:
    """Return what shows of an exchange beside the inner cells' time. [s]."""
    travel = links.wait + halo / links.link
    if not overlap:
        return travel
    return min(links.exposed * travel + max(0.0, travel - inner), travel)


def share_of_boxes(
    columns: Sequence[Column],
    cards: int,
    *,
    rate: float,
    precision: Precision = "float32",
    links: Links = SAME_HOST,
    edge: float = 1.0,
) -> Share:
    """Return memory, halo and time of the fullest of several cards that share nested boxes.

    All cells count alike: where the walls lie is not known before the grid is cut.

    Parameters
    ----------
    columns
        The boxes, the outermost first.
    cards
        How many.
    rate
        Cell updates a second of one card. [1/s]
    precision
        Storage of the populations.
    links
        How the cards are joined.
    edge
        Time of a finer box over that of its cells alone. [-]

    Returns
    -------
    share
        The worst of each; ``seconds`` is a step of the outermost box, ``halo`` what is sent in it.

    Raises
    ------
    InputError
        If there are not so many places for planes.
    """
    planes = [c.shape[0] * c.shape[1] for c in columns]
    factors = [edge if c.level else 1.0 for c in columns]
    work = [np.full(c.shape[2], f * p) for c, f, p in zip(columns, factors, planes, strict=True)]
    cuts = cut_planes(columns, work, cards)
    one = sum(float(w.sum()) * c.scale for c, w in zip(columns, work, strict=True)) / rate
    found = np.zeros((cards, 3))
    for column, plane, factor in zip(columns, planes, factors, strict=True):
        own = column.cuts(cuts)
        for k in range(cards):
            layers = own[k + 1] - own[k]
            sides = sum(0 < cut < column.shape[2] for cut in (own[k], own[k + 1]))
            if not layers:
                continue
            sent = N_CROSSING * plane * SIZE[precision] * sides
            step = factor * layers * plane / rate
            if sides:
                step += _shows(sent, max(layers - 2, 0) * plane / rate, links, overlap=True)
                # moments beyond the plane are waited for before every step of the parent
                step += links.wait / 2 if column.level else 0.0
            held = slab_memory(plane, layers, sides, precision)
            found[k] += held, sent * column.scale, step * column.scale
    memory, halo, seconds = (float(x) for x in found.max(axis=0))
    return Share(
        cards=cards,
        layers=max(b - a for a, b in pairwise(cuts)),
        memory=memory,
        halo=halo,
        seconds=seconds,
        efficiency=one / seconds / cards,
    )


def slab_memory(plane: int, layers: int, neighbours: int, precision: Precision) -> int:
    """Return the memory of a slab on a card, without its walls. [B].

    With neighbours it has two halo layers, and for each of them a plane out, one in, and the two
    masks of what is a wall's own.
    """
    size = SIZE[precision]
    cells = plane * (layers + (2 if neighbours else 0))
    planes = neighbours * N_CROSSING * plane * (2 * size + 2)
    return cells * (27 * size + MARK_AND_MEANS) + planes
