"""A wing of the project that names its section, behind the lattice with section polars."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tuftwork.aeromap.interface import Field, PartLoad, PartModel, PlatformState
from tuftwork.aeromap.part.base import WHEELBASE, Reference, loaded
from tuftwork.aeromap.part.coefficient import coefficient_sources, coefficients_of
from tuftwork.aeromap.part.wing_place import PlacedWing, placed
from tuftwork.aeromap.part.wing_role import role_coefficients, role_of, vented_by
from tuftwork.aeromap.part.wing_spec import refuse_idle, spec_of
from tuftwork.car import WingPart
from tuftwork.errors import NotCovered
from tuftwork.quantity import Source
from tuftwork.section import gurney as gurney_increment
from tuftwork.wing.bank import REFERENCE_TILT, WingBank
from tuftwork.wing.estimate import (
    effective_aspect_ratio,
    finite_slope,
    plate_friction,
    section_slope,
)
from tuftwork.wing.spec import WingSpec
from tuftwork.wing.table import WingLoads, WingTable, evaluate

_FLAT = 2.0 * np.pi * 0.95  # [1/rad] slope that turns a change of coefficient into an angle
_SOURCES = (
    Source(key="drela1989", place="coupling of layers and outer flow, several elements"),
    Source(key="green1977", place="lag of the outer shear stress"),
    Source(key="bertin1979", place="vortex lattice"),
)
_OPTIONAL = ("gurney", "end_plate_height")


@dataclass(frozen=True, slots=True, kw_only=True)
class LatticeWing(PlacedWing):
    """A wing answered from tables of the lattice; ``bank`` is put in once it was computed."""

    spec: WingSpec
    bank: WingBank | None = None

    def load(
        self, platform: PlatformState, draws: Mapping[str, Field], around: Mapping[str, Field]
    ) -> PartLoad:
        """Return the wing's load; see :class:`tuftwork.aeromap.interface.PartModel`."""
        bank = self._bank()
        own, here = self.coefficients(draws), self.standing(platform, draws, around)
        reynolds, height = here.reynolds, here.height
        # what comes from ahead acts with the share of the span it is met by
        tilt, head, turn = here.tilt, 1 + here.head * bank.share, here.tilt * bank.share
        setting = here.incidence + self._gurney_angle(draws, own)
        # about the angle of no load: slope and greatest coefficient each take their own factor
        steep = own["slope"] * section_slope(reynolds) / section_slope(self.spec.reynolds)
        stretch = steep / own["stall"]
        shift = np.asarray(height - self.spec.height)
        found = _found(bank, setting, tilt, stretch, shift, own["lag"])
        gain = own["stall"] * own["lattice"] * self._size(draws) * self._mount(own)
        load = found.downforce_area * gain
        drag = self._drag(found, gain, draws, own, reynolds)
        if self.role == "front section":
            load, drag = self._vented(load, drag, draws, own)
        down = head * (load * np.cos(turn) + drag * np.sin(turn))
        back = head * (drag * np.cos(turn) - load * np.sin(turn))
        # what pitch and setting move the centre of load, about where it was drawn
        arm = self.key("station", draws) + found.x_centre - _drawn_centre(bank, self.spec)
        high = np.maximum(height, 1e-3)
        return loaded(
            down,
            down * arm + back * high,
            back,
            draws[WHEELBASE],
            effects=self._effects(down, bank, draws),
            notices=self._notices(found, bank),
        )

    def _bank(self) -> WingBank:
        if self.bank is None:
            raise NotCovered(
                f"{self.name}: the tables of its section have not been computed. Run the study."
            )
        return self.bank

    def _size(self, draws: Mapping[str, Field]) -> Field:
        """Return downforce area over that of the drawn wing: area and finite slope."""
        spec = self.spec
        span, chord = self.key("span", draws), self.key("chord", draws)
        path = f"{self.name}.end_plate_height"
        plate = draws[path] if path in self.inputs else np.zeros(1)
        drawn = effective_aspect_ratio(spec.span / spec.chord, spec.end_plate_height / spec.span)
        now = effective_aspect_ratio(span / chord, np.maximum(plate, 0.0) / span)
        area = span * chord / (spec.span * spec.chord)
        return np.asarray(area * finite_slope(now) / finite_slope(drawn))

    def _gurney_angle(self, draws: Mapping[str, Field], own: Mapping[str, Field]) -> Field:
        """Return the angle that a gurney other than the drawn one, or its doubt, is worth."""
        if "gurney" not in own:
            return np.zeros(1)
        over = np.clip(self.key("gurney", draws) / self.key("chord", draws), 0.0, 0.05)
        drawn = float(gurney_increment(self.spec.gurney).lift)
        return np.asarray((own["gurney"] * np.sqrt(over) - drawn) / _FLAT)

    def _mount(self, own: Mapping[str, Field]) -> Field:
        return own["mount"] if "mount" in own else np.ones(1)

    def _drag(
        self,
        found: WingLoads,
        gain: Field,
        draws: Mapping[str, Field],
        own: Mapping[str, Field],
        reynolds: Field,
    ) -> Field:
        spec = self.spec
        span, chord = self.key("span", draws), self.key("chord", draws)
        induced = found.induced_area * gain**2 * (spec.span / span) ** 2
        area = span * chord
        rest = (found.drag_area - found.induced_area) * area / (spec.span * spec.chord)
        rest = rest * own["profile"] * plate_friction(reynolds) / plate_friction(spec.reynolds)
        if "gurney_drag" in own:
            tab = float(gurney_increment(spec.gurney).drag)
            rest = rest + (own["gurney_drag"] - 1.0) * tab * area
        return np.asarray(induced + rest)

    def _vented(
        self, load: Field, drag: Field, draws: Mapping[str, Field], own: Mapping[str, Field]
    ) -> tuple[Field, Field]:
        """Return load and drag with the exit's pressure behind the suction side."""
        area = self.key("span", draws) * self.key("chord", draws)
        key = {k: self.key(k, draws) for k in ("exit_pressure", "vented")}
        gain, more = vented_by(key, own, load / area)
        return load + area * gain, drag + area * more

    def _effects(self, down: Field, bank: WingBank, draws: Mapping[str, Field]) -> dict[str, Field]:
        coefficient = down / (self.key("span", draws) * self.key("chord", draws))
        # the Cp that goes with a small added speed u is -2u
        return self.done_to_others(coefficient, down, draws, lambda: -2.0 * bank.below * down)

    def _notices(self, found: WingLoads, bank: WingBank) -> tuple[str, ...]:
        notices = [f"{self.name}: {text}." for text in bank.notices]
        notices += self.stall_notices(found.margin)
        outside = float(np.mean(found.is_outside))
        if outside > 0.05:
            notices.append(
                f"{self.name}: {100 * outside:.0f} % of draws lie outside its tables; their edge "
                "is held."
            )
        return tuple(notices)


def _found(
    bank: WingBank, setting: Field, tilt: Field, stretch: Field, shift: Field, lag: Field
) -> WingLoads:
    """Return what the tables give in an onset, even along the span or shaped."""
    zero = bank.zero_lift
    if bank.tilted is None or bank.tilted_pessimistic is None:
        moved = zero + (setting + tilt - zero) * stretch
        return _mixed((bank.default, bank.pessimistic), moved, shift, lag)
    # between still air and the onset the tables were made in; what is beyond counts as even
    part = np.clip(tilt / REFERENCE_TILT, -1.0, 2.0)
    rest = (tilt - part * REFERENCE_TILT) * bank.share
    moved = zero + (setting + rest - zero) * stretch
    still = _mixed((bank.default, bank.pessimistic), moved, shift, lag)
    shaped = _mixed((bank.tilted, bank.tilted_pessimistic), moved, shift, lag)
    w = part * stretch
    mixed = {n: (1.0 - w) * getattr(still, n) + w * getattr(shaped, n) for n in _LOADS}
    return WingLoads(**mixed, is_outside=still.is_outside)


_LOADS = ("downforce_area", "drag_area", "induced_area", "x_centre", "margin")


def _mixed(
    tables: tuple[WingTable, WingTable], alpha: Field, shift: Field, lag: Field
) -> WingLoads:
    """Return what both sets of constants give, mixed by the place between them."""
    one, two = (evaluate(table, incidence=alpha, height=shift) for table in tables)
    w = np.clip(lag, -0.2, 1.2)
    mixed = {n: np.asarray((1.0 - w) * getattr(one, n) + w * getattr(two, n)) for n in _LOADS}
    return WingLoads(**mixed, is_outside=one.is_outside | two.is_outside)


def _drawn_centre(bank: WingBank, spec: WingSpec) -> float:
    return float(evaluate(bank.default, incidence=spec.incidence).x_centre)


def lattice_wing(part: WingPart, reference: Reference, heard: Collection[str]) -> LatticeWing:
    """Return the model of a wing that names its section, its tables still missing.

    Raises
    ------
    InputError
        If keys stand beside the section that change nothing then.
    """
    assert part.section is not None
    role = role_of(part, reference)
    refuse_idle(part, role)
    coefficients = {**coefficients_of("wing", "engine"), **role_coefficients(role)}
    common = placed(
        part, reference, heard, coefficients=coefficients, idle=_idle(part),
        optional={key: getattr(part, key) for key in _OPTIONAL},
    )  # fmt: skip
    return LatticeWing(
        **common, sources=(*_SOURCES, *coefficient_sources(coefficients)), spec=spec_of(part)
    )


def equipped(models: Sequence[PartModel], banks: Mapping[str, WingBank]) -> tuple[PartModel, ...]:
    """Return the models with the tables of their sections put in, where there are any."""
    return tuple(
        replace(m, bank=banks.get(m.spec.key)) if isinstance(m, LatticeWing) else m for m in models
    )


def _idle(part: WingPart) -> set[str]:
    """Return the coefficients that change nothing on this wing."""
    assert part.section is not None
    idle: set[str] = set()
    if part.gurney is None or not part.gurney.high > 0:
        idle |= {"gurney", "gurney_drag"}
    if part.section.mount != "bottom":
        idle.add("mount")
    return idle
