"""The form of a number as pages show it."""

from typing import NotRequired

from typing_extensions import TypedDict

from tuftwork.quantity import Origin


class Number(TypedDict):
    """A number as shown: values in ``unit``; ``low..high`` is the 80 % range, the halves 50 %.

    ``kg_per_m2`` is ½ρV²/g where the number is an area in m² that holds at one speed; people who
    think in kilograms then see it in kilograms. A page may state it once for all its numbers.
    ``noise`` is the half-width below which a difference cannot be told from nothing.
    """

    text: str
    best: float | None
    low: float | None
    high: float | None
    low_half: NotRequired[float | None]
    high_half: NotRequired[float | None]
    unit: str
    origin: Origin
    at: NotRequired[str]
    why: NotRequired[str]
    kg_per_m2: NotRequired[float]
    noise: NotRequired[float]
    label: NotRequired[str]
