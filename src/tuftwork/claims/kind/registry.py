"""Every kind of claim and the function that turns it into equations."""

from collections.abc import Callable
from typing import Any

from tuftwork.claims.case import Case
from tuftwork.claims.frame import Frame
from tuftwork.claims.kind.balance import balance_case
from tuftwork.claims.kind.coefficient import coefficient_case
from tuftwork.claims.kind.force import force_case
from tuftwork.claims.kind.gain import gain_case
from tuftwork.claims.kind.lap_gain import lap_case
from tuftwork.claims.kind.opening import opening_case
from tuftwork.claims.kind.top_speed import top_speed_case

CASES: dict[str, Callable[[Any, Frame], Case]] = {
    "force": force_case,
    "coefficient": coefficient_case,
    "top speed": top_speed_case,
    "balance": balance_case,
    "opening area": opening_case,
    "gain": gain_case,
    "lap time gain": lap_case,
}
"""Kind of claim → its equations."""
