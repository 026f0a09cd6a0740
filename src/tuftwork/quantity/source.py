"""Where a number or an equation comes from."""

from dataclasses import dataclass
from typing import Literal, get_args

Origin = Literal["measured", "published", "digitised", "claimed", "computed", "assumed"]
"""How a number came to be known, the strongest first but for ``computed`` and ``assumed``."""

ORIGINS: tuple[Origin, ...] = get_args(Origin)


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """One published place, precise enough to be opened and checked.

    Attributes
    ----------
    key
        Name in ``references.bib``, for example ``coesa1976``.
    place
        Table, figure, equation or page within the work.
    status
        ``"seen"`` in the work itself or a transcription, or ``"memory"``.
    """

    key: str
    place: str
    status: Literal["seen", "memory"] = "seen"
