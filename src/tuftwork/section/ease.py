"""From an easy state to a hard one: flaps less turned, road further off, less incidence."""

from dataclasses import dataclass, replace

import numpy as np

from tuftwork.errors import InputError, NotConverged
from tuftwork.section.point import Case, SectionPoint, prepare, solve_point
from tuftwork.section.shape import transform
from tuftwork.section.stack import Stack, check_stack
from tuftwork.section.station import Layers


@dataclass(frozen=True, slots=True, kw_only=True)
class Ease:
    """How much easier the far end of a walk is.

    Attributes
    ----------
    turn
        Deflection taken off the elements behind the first. [rad]
    incidence
        Incidence taken off. [rad]
    height
        Factor on the height over the road. [-]
    """

    turn: float
    incidence: float
    height: float


EASES = (
    Ease(turn=np.deg2rad(10.0), incidence=0.0, height=1.5),
    Ease(turn=np.deg2rad(16.0), incidence=np.deg2rad(3.0), height=4.0),
)


def eased_stack(stack: Stack, turn: float) -> Stack:
    """Return the stack with everything behind each slot turned back about the edge in front.

    The distance from that edge, and so the gap, stays what it is.

    Raises
    ------
    InputError
        If elements touch then.
    """
    elements = [stack.elements[0]]
    for contour in stack.elements[1:]:
        moved = contour
        # turns about the edges further ahead carry the elements behind along
        for front in elements:
            moved = transform(moved, turn=turn, about=front.trailing_edge)
        elements.append(moved)
    made = replace(stack, elements=tuple(elements))
    check_stack(made)
    return made


def eased_case(case: Case, ease: Ease, share: float) -> Case:
    """Return a case ``share`` of the way to the easy end, 0 being the case itself."""
    if share == 0.0:
        return case
    height = None if case.height is None else case.height * ease.height**share
    stack = case.stack
    if len(stack.elements) > 1:
        stack = eased_stack(stack, share * ease.turn)
    return prepare(
        stack, case.condition, height=height, is_inverted=case.is_inverted, n_panel=case.n_panel
    )


def walk_from_ease(case: Case, alpha: float, ease: Ease, *, most: int = 16) -> SectionPoint:
    """Solve the easy end from nothing and follow the layers to the case itself.

    Raises
    ------
    NotConverged
        If the easy end has no answer or the walk does not arrive.
    """

    def solve(share: float, start: Layers | None) -> SectionPoint:
        here = eased_case(case, ease, share)
        return solve_point(here, alpha - share * ease.incidence, start)

    try:
        state = solve(1.0, None).layers
        at, step = 1.0, 0.34
        for _ in range(most):
            to = max(at - step, 0.0)
            try:
                point = solve(to, state)
            except NotConverged:
                step *= 0.5
                if step < 0.02:
                    raise
                continue
            at, state = to, point.layers
            if to == 0.0:
                return point
            step *= 1.5
    except InputError as why:
        raise NotConverged(f"no easier state: {why}") from why
    raise NotConverged("continuation from an easier state did not arrive")
