"""The section of a wing: an outline, and flap elements behind it."""

from typing import Annotated, Literal

from pydantic import Field

from tuftwork.car.table import Table, number
from tuftwork.quantity import Quantity

_Outline = Annotated[
    str,
    Field(
        min_length=4,
        max_length=120,
        description="'NACA 4412', or a coordinates file (text, CSV, DXF) in evidence/",
    ),
]


class FlapElement(Table):
    """One element behind another; ranges are what the shop can hold."""

    outline: _Outline
    chord: Annotated[
        Quantity,
        number("share", least=0.02, most=2.0),
        Field(description="Over the chord of the main element"),
    ]
    deflection: Annotated[
        Quantity,
        number("angle", least=-0.5, most=1.3),
        Field(description="Against the main element's chord line, towards more downforce"),
    ]
    gap: Annotated[
        Quantity,
        number("share", least=0.001, most=0.2),
        Field(description="Least distance from the edge in front, over the whole chord"),
    ]
    overlap: Annotated[
        Quantity,
        number("share", least=-0.3, most=0.3),
        Field(description="Of the flap's nose ahead of the edge in front, over the whole chord"),
    ]


class WingSection(Table):
    """A wing's section: with it the wing is answered by the lattice, not by the estimate."""

    outline: _Outline
    flaps: Annotated[
        tuple[FlapElement, ...], Field(max_length=3, description="Elements behind the main one")
    ] = ()
    turbulence: Annotated[
        Quantity | None,
        number("share", least=1e-4, most=0.2),
        Field(description="Of the air the wing meets; 2 % unless given"),
    ] = None
    mount: Annotated[
        Literal["none", "bottom", "top"],
        Field(description="Where the wing is held; mounts on the suction side cost downforce"),
    ] = "none"
    hinge: Annotated[
        Quantity | None,
        number("share", least=-0.5, most=1.5),
        Field(description="Axis a wing that moves turns about, behind the nose over the chord"),
    ] = None
    lever: Annotated[
        Quantity | None,
        number("height", positive=True),
        Field(description="Arm of what holds it about that axis"),
    ] = None
