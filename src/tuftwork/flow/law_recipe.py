"""The law of the wall, as statements in the manner of ``recipe``.

References
----------
[reichardt1951] law of the wall.
"""

from tuftwork.flow.recipe import Line
from tuftwork.flow.setup import SHEAR_ONLY


def wall_law() -> list[Line]:
    """Friction velocity ``us`` from ``ut`` at ``y``: power-law start, Newton on [reichardt1951]."""
    out = [
        Line("let", "far", "max2(y, -y)"),
        Line("let", "deep", "max2(wall_law, 2.0)"),
        Line("if", "", f"deep > {SHEAR_ONLY}"),
        Line("set", "deep", f"deep - {SHEAR_ONLY}"),
        Line("end"),
        Line("let", "yn", "max2(far, 0.5) / nu"),
        Line("let", "rey", "max2(ut * yn, 1e-12)"),
        Line("let", "up", "sqrt(rey)"),
        Line("if", "", "rey > 139.5"),
        Line("set", "up", "6.372 * sqrt(sqrt(sqrt(rey)))"),
        Line("end"),
        Line("set", "us", "ut / up"),
        Line("let", "yp", "0.0"),
        Line("let", "e1", "0.0"),
        Line("let", "e2", "0.0"),
        Line("let", "law", "0.0"),
        Line("let", "slope", "0.0"),
    ]
    for _ in range(4):
        out += [
            Line("set", "yp", "yn * us"),
            *law_here(),
            Line("set", "us", "us + (ut / us - law) / (ut / (us * us) + slope * yn)"),
        ]
    return out


def law_here() -> list[Line]:
    """Take the law's speed over ``us`` and its slope at ``yp``."""
    return [
        Line("set", "e1", "exp(-yp * 0.09090909090909091)"),
        Line("set", "e2", "exp(-yp * 0.3333333333333333)"),
        Line(
            "set",
            "law",
            "log(1.0 + 0.41 * yp) * 2.4390243902439024"
            " + 7.8 * (1.0 - e1 - yp * 0.09090909090909091 * e2)",
        ),
        Line(
            "set",
            "slope",
            "1.0 / (1.0 + 0.41 * yp) + 7.8 * 0.09090909090909091"
            " * (e1 - e2 + yp * 0.3333333333333333 * e2)",
        ),
    ]
