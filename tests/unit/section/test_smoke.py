import numpy as np

from tuftwork.section import Condition, analyse, naca, single


def test_a_section_converges() -> None:
    p = analyse(single(naca("4412")), Condition(reynolds=1e6), np.deg2rad(4.0))
    assert 0.8 < p.lift < 1.0
