"""Side load, moments and road of a run in words, with the sense that counts as positive."""

from typing import Any

from tuftwork.quantity import Z80

_WORDS = {
    "side": ("CyS, to the right", "m²"), "roll": ("roll moment, right side down", "m³"),
    "pitch": ("pitch moment, nose up", "m³"), "yaw": ("yaw moment, nose to the right", "m³"),
}  # fmt: skip


def plain(value: float) -> str:
    """Return a number with three places, and no minus before a zero."""
    return f"{round(value, 3) + 0.0:.3f}".replace("-", "\u2212")


def moment_rows(record: dict[str, Any]) -> list[dict[str, Any]]:
    """Return side load and moments about mid wheelbase at ground level (SAE J1594).

    Parameters
    ----------
    record
        As ``record_tree`` gives it. One that does not say its senses has roll and yaw about the
        axes x rearward and z up, which is the other way round.
    """
    rows = []
    for key, (label, unit) in _WORDS.items():
        turned = key in ("roll", "yaw") and "moments" not in record["case"]
        load = record["loads"][key]
        text = f"{plain(-load['mean'] if turned else load['mean'])}\u202f{unit}"
        rows.append({"label": label, "text": f"{text} (±{Z80 * load['error']:.3f} statistical)"})
    return rows


def spoken_road(case: dict[str, Any]) -> str:
    """Return what moved under the car, and what stood beside it."""
    box = case.get("box", {})
    road = {"moving": "moving road", "fixed": "fixed floor", "none": "no road"}[case["road"]]
    if "belt" in box:
        start, end, half = box["belt"]
        road += f" with a belt {end - start:.4g} × {2 * half:.4g} m"
    return road + (", closed tunnel" if box.get("has_walls") else "")


def said_of_shape(*, is_generic: bool, counts: bool) -> list[str]:
    """Return a warning where a shape drawn from numbers is about to count as the car."""
    if not (is_generic and counts):
        return []
    return [
        "The shape is generic and counts as the car: its loads narrow what is said of the car. "
        "Say 'counts = false' in the case unless it was drawn as this car."
    ]
