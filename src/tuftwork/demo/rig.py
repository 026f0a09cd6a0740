"""What else was measured of the demo car: a tunnel model, laps, pressures; all made from the truth.

Planted: the tunnel's walls raise dynamic pressure by 4 %, its supports carry load, its balance sits
low and ahead, and the diffuser lets go later on the way down than it takes hold on the way up. Laps
hold a gain of 0.14 s of the wing under more scatter than they can show.
"""

from dataclasses import dataclass

import numpy as np

from tuftwork.demo.truth import SEED, true_loads

SCALE, WHEELBASE, TUNNEL_DENSITY = (
    0.40,
    2.62,
    1.2041,
)  # [-], [m], [kg/m³] dry air, 20 °C, 1013.25 hPa
WALLS, CENTRE_X, CENTRE_Z = 1.040, -0.10, -0.30  # [-], [m], [m]
SUPPORT_DRAG, SUPPORT_LIFT, SUPPORT_PITCH = 0.0052, 0.0018, 0.0004  # [m²], [m²], [m³]
LAG = 0.0005  # [m] of the rear ride height, either way
LAP_GAIN, LAP_WEAR, LAP_SCATTER, STINT_SCATTER = -0.14, 0.035, 0.16, 0.09  # [s]
_SPEED = 50.0  # [m/s]
_INCIDENCE = {"as raced": 8.0, "more wing": 12.0}  # [°]
_REARS = (54.0, 56.0, 57.0, 58.0, 59.0, 60.0, 64.0, 70.0)  # [mm]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Point:
    """Where a reading is taken. [mm]"""

    state: str
    front: float
    rear: float
    sweep: str


def tunnel_table() -> str:
    """Return the session as the tunnel exports it: loads about the balance's own centre."""
    noise = np.random.default_rng(SEED + 2)
    points = [_Point(state="as raced", front=50.0, rear=60.0, sweep="up")]
    for front in (46.0, 50.0, 54.0):
        points += [_Point(state="as raced", front=front, rear=r, sweep="up") for r in _REARS]
        points += [_Point(state="as raced", front=front, rear=r, sweep="down")
                   for r in reversed(_REARS)]  # fmt: skip
        points.append(_Point(state="as raced", front=50.0, rear=60.0, sweep="up"))
    for way in ("up", "down"):
        rears = _REARS if way == "up" else tuple(reversed(_REARS))
        points += [_Point(state="more wing", front=50.0, rear=r, sweep=way) for r in rears]
    rows = ["state,kind,sweep,hf [mm],hr [mm],speed [m/s],drag [N],lift [N],pitch [N m]"]
    pressure = 0.5 * TUNNEL_DENSITY * _SPEED**2
    for _ in range(3):
        loads = np.array([SUPPORT_DRAG, SUPPORT_LIFT, SUPPORT_PITCH]) * pressure
        rows.append(_row("as raced,tare,", 50.0, 60.0, loads + noise.normal(0, 0.15, 3)))
    for one in points:
        drag, lift, pitch = _model_loads(one, pressure)
        loads = np.array([drag, lift, pitch]) * (1 + noise.normal(0, 0.001))
        loads = loads + noise.normal(0, (0.35, 0.8, 0.25))
        rows.append(_row(f"{one.state},point,{one.sweep}", one.front, one.rear, loads))
    return "\n".join(rows) + "\n"


def _row(head: str, front: float, rear: float, loads: np.ndarray) -> str:
    numbers = ",".join(f"{v:.2f}" for v in loads)
    return f"{head},{front:.1f},{rear:.1f},{_SPEED:.1f},{numbers}"


def _model_loads(one: _Point, pressure: float) -> tuple[float, float, float]:
    """Return drag, lift and pitch about the balance, walls and supports included. [N], [N m]"""
    late = LAG if one.sweep == "up" else -LAG
    true = true_loads(
        1e-3 * one.front, 1e-3 * one.rear - late, float(np.radians(_INCIDENCE[one.state]))
    )
    full = pressure * WALLS * SCALE**2
    drag, lift = true.drag * full, -true.total * full
    ground = (true.rear - true.front) * full * WHEELBASE * SCALE / 2  # nose up where the rear sinks
    pitch = ground - drag * CENTRE_Z + lift * CENTRE_X
    return (
        drag + SUPPORT_DRAG * pressure, lift + SUPPORT_LIFT * pressure,
        pitch + SUPPORT_PITCH * pressure,
    )  # fmt: skip


def laps_table() -> str:
    """Return the laps of the second half of the day: six stints of four, one spoiled by traffic."""
    noise = np.random.default_rng(SEED + 3)
    rows = ["stint,lap,state,time,use,note"]
    for stint in range(6):
        state = "more wing" if stint % 2 else "as raced"
        level = 97.42 + noise.normal(0, STINT_SCATTER) + (LAP_GAIN if stint % 2 else 0.0)
        for lap in range(4):
            time = level + LAP_WEAR * lap + noise.normal(0, LAP_SCATTER)
            spoiled = stint == 2 and lap == 1
            time += 2.3 if spoiled else 0.0
            rows.append(f"{stint + 1},{lap + 1},{state},1:{time - 60:06.3f},{int(not spoiled)},"
                        f"{'traffic' if spoiled else ''}")  # fmt: skip
    return "\n".join(rows) + "\n"


TAPS = {"splitter 1": -0.92, "splitter 2": -0.55, "bonnet": -0.35, "arch": 0.04, "base": -0.21}
"""Planted pressure coefficients. [-]"""
WING_WAKE = (1.0, 0.86, 0.62, 0.58, 0.79, 0.98)
"""Total pressure over dynamic pressure behind the wing, from above downward. [-]"""
DUCT_SPEEDS = (0.44, 0.52, 0.55, 0.53, 0.47, 0.36)
"""Speed over the car's in the front duct, across its width. [-]"""
DUCT_STATIC, DUCT_AREA = 0.42, 0.072  # [-] of dynamic pressure; [m²]


def pressures_table() -> str:
    """Return mean pressures of six runs, both ways, as the scanner exports them."""
    noise = np.random.default_rng(SEED + 4)
    names = [*TAPS, "duct static", *(f"duct {i + 1}" for i in range(len(DUCT_SPEEDS))),
             *(f"wake {i + 1}" for i in range(len(WING_WAKE)))]  # fmt: skip
    levels = np.array([*TAPS.values(), DUCT_STATIC, *(DUCT_STATIC + s**2 for s in DUCT_SPEEDS),
                       *WING_WAKE])  # fmt: skip
    rows = ["state;speed [km/h];" + ";".join(f"{name} [Pa]" for name in names)]
    for kmh in (140, 140, 180, 180, 200, 200):
        pressure = 0.5 * 1.18 * (kmh / 3.6) ** 2
        read = levels * pressure * (1 + noise.normal(0, 0.006)) + noise.normal(0, 4, levels.size)
        rows.append(f"as raced;{kmh};" + ";".join(f"{p:.1f}" for p in read))
    return "\n".join(rows) + "\n"
