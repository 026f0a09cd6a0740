"""The fault finder on days whose faults are known because they were planted."""

import numpy as np
import pytest

from trialdays import DRIVER, made, suspects
from tuftwork.trial.cure import CURES, Cure, with_cures
from tuftwork.trial.fault import find_faults, repaired
from tuftwork.trial.log import Channel, Log
from tuftwork.trial.synthetic import Planted

PLANTED = {
    "zero in another mass state": Planted(**DRIVER),
    "wrong gain": Planted(gains={"pot rear left": 0.92}),
    "air-speed error": Planted(gains={"air speed": 1.03}),
    "inverted channel": Planted(inverted=("pot front right",)),
    "swapped channels": Planted(swapped=(("pot front left", "pot rear left"),)),
    "stuck sensor": Planted(stuck=("pot front left",)),
    "clipped signal": Planted(clip={"pot rear right": 6e-3}),
    "coarse signal": Planted(quantum={"pot front left": 1e-3}),
    "time offset": Planted(offset={"air speed": 0.4}),
    "wrong unit": Planted(gains={"air speed": 3.6}),
    "drifting zero": Planted(drift={"pot front left": 3e-3}),
}


@pytest.mark.parametrize("kind", PLANTED)
def test_what_was_planted_is_found_first_and_nothing_else(kind: str) -> None:
    for seed in (1, 2):
        day = made(PLANTED[kind], seed)
        found = [h for h in find_faults(day.log, suspects(day)) if h.is_fault]
        assert [h.kind for h in found] == [kind]
        assert found[0].evidence


def test_other_plants_of_the_same_kinds() -> None:
    cases = {
        "swapped channels": Planted(swapped=(("laser front", "laser rear"),)),
        "inverted channel": Planted(inverted=("acceleration along",)),
        "wrong gain": Planted(gains={"pot front right": 1.08}),
        "air-speed error": Planted(gains={"air speed": 0.97}),
    }
    for kind, planted in cases.items():
        day = made(planted, 5)
        assert [h.kind for h in find_faults(day.log, suspects(day)) if h.is_fault] == [kind]


def test_a_clean_day_raises_no_alarm() -> None:
    for seed in range(10, 15):
        day = made(Planted(), seed)
        assert [h.kind for h in find_faults(day.log, suspects(day)) if h.is_fault] == []


def test_wind_slope_and_growing_tyres_are_worth_knowing_and_no_faults() -> None:
    day = made(Planted(), 4, wind=2.0, grade=0.004, tyre_growth=2e-3 / 64**2)
    kinds = {h.kind: h for h in find_faults(day.log, suspects(day))}
    assert not any(h.is_fault for h in kinds.values())
    assert kinds["wind"].size == pytest.approx(2.0, abs=0.3)
    assert kinds["slope"].size == pytest.approx(0.4, abs=0.06)
    assert kinds["tyre growth"].size == pytest.approx(2.0, abs=1.0)


def test_standing_with_the_driver_finds_the_zero_to_a_few_newtons() -> None:
    day = made(Planted(**DRIVER), 6, rest=3.0)
    found = find_faults(day.log, suspects(day))[0]
    assert found.kind == "zero in another mass state"
    assert found.size == pytest.approx(sum(DRIVER.values()), abs=10)
    assert "on the sheet, no driver" in found.title


def test_the_worst_fault_comes_first_and_says_what_it_costs() -> None:
    planted = Planted(**DRIVER, gains={"pot rear left": 0.92, "air speed": 1.03})
    day = made(planted, 7)
    found = [h for h in find_faults(day.log, suspects(day)) if h.is_fault]
    assert found[0].kind == "zero in another mass state"
    assert {h.kind for h in found} == {
        "zero in another mass state", "wrong gain", "air-speed error",
    }  # fmt: skip
    assert [h.worth for h in found] == sorted((h.worth for h in found), reverse=True)
    gain = next(h for h in found if h.kind == "wrong gain")
    assert gain.low < 0.92 < gain.high or abs(gain.size - 0.92) < 0.02


def test_after_the_cures_nothing_is_left_and_the_log_is_untouched() -> None:
    planted = Planted(**DRIVER, gains={"pot rear left": 0.92, "air speed": 1.03})
    day = made(planted, 8)
    before = {role: channel.values.copy() for role, channel in day.log.channels.items()}
    cured, _ = repaired(day.log, suspects(day))
    assert [h for h in find_faults(cured, suspects(day)) if h.is_fault] == []
    for role, values in before.items():
        np.testing.assert_array_equal(day.log.of(role).values, values)
    assert len(cured.done) == 6


def test_every_kind_of_cure_can_be_taken_back_by_leaving_it_out() -> None:
    time = np.linspace(0, 10, 50)
    log = Log(channels={
        "pot front left": Channel(name="a", time=time, values=np.sin(time) * 1e-3),
        "pot rear left": Channel(name="b", time=time, values=np.cos(time) * 1e-3),
    })  # fmt: skip
    for kind in CURES:
        cure = Cure(kind=kind, role="pot front left", other="pot rear left", size=0.5)
        changed = with_cures(log, [cure])
        channel = changed.channels.get("pot front left")
        same = channel is not None and channel.time is log.of("pot front left").time and (
            np.array_equal(channel.values, log.of("pot front left").values)
        )  # fmt: skip
        assert not same, kind
        assert changed.done == (cure.words(),)
        assert with_cures(log, []) is log


def test_no_passes_is_refused() -> None:
    from tuftwork.errors import NotCovered

    time = np.linspace(0, 100, 2000)
    log = Log(channels={"speed over ground": Channel(name="v", time=time, values=time)})
    day = made(Planted(), 1)
    with pytest.raises(NotCovered, match="No constant-speed pass"):
        find_faults(log, suspects(day))
