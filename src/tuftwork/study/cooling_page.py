"""The page "Cooling": circuits against their limits, the net, exits compared, forecasts."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from tuftwork.car import Project
from tuftwork.car.cooling import Circuit, Cooling
from tuftwork.cooling.case import CoolingCase, of_ensemble
from tuftwork.cooling.case_loop import exchanger_name
from tuftwork.cooling.element import Cooler, Element
from tuftwork.cooling.heat import Duty
from tuftwork.cooling.notice import VENT_CAUTION
from tuftwork.cooling.opening import exit_places, inlet_kinds
from tuftwork.quantity import format_plain
from tuftwork.study.answers import Answers
from tuftwork.study.cooling_edit import KINDS
from tuftwork.study.cooling_layout import net_drawn
from tuftwork.study.cooling_stint import stint_page
from tuftwork.study.cooling_tell import Teller, certain
from tuftwork.study.cooling_widening import opening_notices
from tuftwork.study.front_air import air_fed
from tuftwork.study.lap_history import duty_driven, lap_history
from tuftwork.study.number import number_of_quantity
from tuftwork.study.support import Support, counted

Page = dict[str, Any]
_KMH = 3.6
_SAME_SPEED = 0.1  # [-]  a lap's mean so near the entered speed is that speed
_KELVIN = 273.15


def cooling_support(project: Project, answers: Answers | None) -> Support:
    """Return the support of the cooling."""
    if project.cooling is None:
        return "none", ""
    return "computed", counted(len(project.cooling.circuits), "circuit")


def cooling_chain(answers: Answers, address: str) -> None:
    """Keep the chains of the cooling's numbers."""
    answers.worked_out.pop("cooling page", None)
    cooling_page(answers)


def cooling_page(answers: Answers) -> Page:
    """Return the cooling on its hot day; worked out once."""
    kept: Page | None = answers.worked_out.get("cooling page")
    if kept is None:
        kept = answers.worked_out["cooling page"] = _page(answers)
    return kept


def duty_of(answers: Answers) -> Duty | None:
    """Return the duty of the lap, None where the entered one counts."""
    found = duty_driven(answers.project, answers.results)
    return None if found is None else found[0]


def case_of(answers: Answers) -> CoolingCase:
    """Return the cooling's case with all draws."""
    if "cooling case" not in answers.worked_out:
        of = of_ensemble(answers.ensemble)
        answers.worked_out["cooling case"] = CoolingCase.of_project(
            answers.project, of, driven=duty_of(answers),
            fed=air_fed(answers.job, answers.results),
        )  # fmt: skip
    found: CoolingCase = answers.worked_out["cooling case"]
    return found


def _page(answers: Answers) -> Page:
    tell = Teller(answers)
    net, charts = answers.results["cooling"], answers.results["cooling charts"]
    case = case_of(answers)
    circuits = [_circuit(tell, c, net) for c in tell.table.circuits]
    return {
        "at": tell.at,
        "answer": answer_of(tell, circuits, net),
        "circuits": circuits,
        "net": _net(tell, case, net),
        "gains": [_gains(tell.table, name, r) for name, r in net["restrictions"].items()],
        "exits": _exits(tell, net),
        "forecast": _forecast(tell, charts),
        "blanking": _blanking(charts),
        "loads": _loads(tell, net),
        "duty": _duty(answers, tell.table),
        "stint": stint_page(tell, answers.results["cooling stint"]),
        "controls": _controls(tell.table),
        "notices": list(
            dict.fromkeys([*net["notices"], VENT_CAUTION, *opening_notices(case, net)])
        ),
    }


def _duty(answers: Answers, table: Cooling) -> str:
    """Return in words where the share of full load comes from."""
    entered = table.duty
    said = "" if entered is None else (
        f"{100 * entered.lap_mean.best:.0f} % of full load as a lap's mean and "
        f"{100 * entered.worst_minute.best:.0f} % in the worst minute"
    )  # fmt: skip
    found = duty_driven(answers.project, answers.results)
    if found is None:
        return f"Duty as entered: {said}." if said else "No duty entered, and no lap was run."
    duty, source = found
    own = (
        f"Duty from the {source}: {100 * duty.lap_mean:.0f} % of full load as its mean and "
        f"{100 * duty.worst_minute:.0f} % in its worst minute"
    )
    text = f"{own}; entered were {said}." if said else f"{own}."
    return text + _of_speed(answers, table)


def _of_speed(answers: Answers, table: Cooling) -> str:
    """Say so where heat is the lap's and the speed that cools it is another one."""
    history = lap_history(answers.project, answers.results, 400)
    if history is None:
        return ""
    lap, entered = float(np.mean(history.speed)), table.speed.best
    if abs(lap / entered - 1.0) < _SAME_SPEED:
        return ""
    return (
        f" The air here is that of the entered {_KMH * entered:.0f}\u202fkm/h; the mean of that "
        f"lap is {_KMH * lap:.0f}\u202fkm/h, which the stint takes."
    )


def _circuit(tell: Teller, circuit: Circuit, net: Page) -> Page:
    name = circuit.name
    hottest, worst = (np.asarray(net[key][name]) for key in ("hottest", "worst_minute"))
    what = "gas behind its core" if circuit.kind == "gas" else "hottest of the loop"
    heat: Any = sum(_edge(net, c, "heat") for c in circuit.coolers)
    where = list(circuit.coolers)
    if circuit.exchanger is not None:
        heat = case_of(tell.answers).system.loop(name).heat
        where.append(exchanger_name(circuit))
    found: Page = {
        "name": name,
        "kind": circuit.kind,
        "coolers": where,
        "what": what,
        "hottest": tell.number(f"hottest/{name}", hottest, "temperature", f"{name}: {what}"),
        "worst": tell.number(f"worst/{name}", worst, "temperature",
                             f"{name}: {what}, if the worst minute lasted"),
        "heat": tell.number(
            f"heat/{name}", heat, "power",
            f"{name}: heat shed"
        ),
        "limit": None, "over": None, "verdict": "no limit",
    }  # fmt: skip
    if circuit.limit is not None:
        over = float(np.mean(hottest > circuit.limit.best))
        accepted = tell.table.risk.best
        found["limit"] = number_of_quantity(
            circuit.limit, why=f"input/cooling.circuits.{name}.limit"
        )
        found["over"] = certain(over, "share")
        found["verdict"] = (
            "inside" if over <= accepted else "over its limit" if over > 0.5 else "doubtful"
        )
    return found


def _edge(net: Page, name: str, field: str) -> np.ndarray:
    return np.asarray(net["air"][field][net["air"]["names"].index(name)])


def _node(net: Page, name: str, field: str) -> np.ndarray:
    return np.asarray(net["air"][field][net["air"]["nodes"].index(name)])


def answer_of(tell: Teller, circuits: Sequence[Page], net: Page) -> str:
    """Return the cooling in a sentence or two, restriction first."""
    worst = [c for c in circuits if c["verdict"] in ("over its limit", "doubtful")]
    if not worst:
        return f"At {tell.at} every circuit with a limit stays below it."
    worst.sort(key=lambda c: -c["over"]["best"])
    return restriction_text(tell, worst[0], net)


def restriction_text(tell: Teller, circuit: Page, net: Page) -> str:
    """Return what restricts a circuit and which area cures it."""
    found = net["restrictions"][circuit["name"]]
    kind = {"inlet": "inlet", "exit": "exit", "cooler": "core"}[found["kind"]]
    others = [w for w in ("inlet", "core", "exit") if w != kind]
    head = (
        f"The {kind}, not the {others[0]} or the {others[1]}, holds {circuit['name']} back: "
        f"{found['part']}. At {tell.at} it reaches {circuit['hottest']['text']} and crosses "
        f"{circuit['limit']['text']} with a chance of {circuit['over']['text']}."
    )
    return f"{head} {cure_text(tell, circuit['name'], net)}".strip()


def cure_text(tell: Teller, circuit: str, net: Page) -> str:
    """Return the area the restricting opening needs where it is, and elsewhere."""
    found = net["restrictions"][circuit]
    sized = found["sized"]
    if sized is None:
        return "A larger core, or more tubes, is the first step."
    need = "no area there suffices" if sized["needed"] is None else (
        f"{_area(sized['needed'])} is needed there"
    )  # fmt: skip
    text = f"It has {_area(sized['now'])} net; {need}"
    options = net["exits"].get(found["part"], {}).get("places", {})
    moves = [
        f"{_area(o['sized']['needed'])} on the {place} ({_legality(tell.table, place, o)})"
        for place, o in options.items()
        if place != sized["place"] and o["sized"]["needed"] is not None
    ]
    return f"{text}{', or ' + ', or '.join(moves) if moves else ''}."


def _area(value: float) -> str:
    return format_plain(value, "area", digits=3)


def _legality(table: Cooling, place: str, option: Page) -> str:
    """Return whether the class allows the area needed at a place, as far as the project says."""
    surface = next((s for s in table.surfaces if s.name == place), None)
    needed = option["sized"]["needed"]
    if surface is None or surface.most_area is None:
        return "no clause entered"
    if needed is None:
        return "no area suffices"
    word = "within" if needed <= surface.most_area.best else "beyond"
    return f"{word} the {_area(surface.most_area.best)} of {surface.rule or 'the class'}"


def _net(tell: Teller, case: CoolingCase, net: Page) -> Page:
    """Return the drawing of the net: places, and what stands on every part and node."""
    drawn = net_drawn(case.system.air, net["air"]["reversed"], net["shares"])
    for row, part in zip(drawn["parts"], case.system.air.elements, strict=True):
        row |= _part_numbers(tell, part, net)
    for row in drawn["nodes"]:
        n = row["name"]
        row["temperature"] = tell.number(
            f"node/{n}/temperature", _node(net, n, "temperature"), "temperature", f"{n}: air"
        )
        row["pressure"] = tell.number(
            f"node/{n}/pressure", _node(net, n, "pressure"), "pressure",
            f"{n}: total pressure above ambient",
        )  # fmt: skip
    return drawn


def _part_numbers(tell: Teller, part: Element, net: Page) -> Page:
    name = part.name
    loss = np.abs(_edge(net, name, "loss"))
    draws = {
        "flow": np.abs(_edge(net, name, "flow")),
        "loss": np.where(loss < 0.5, 0.0, loss),  # an ideal opening's is there for the solver only
        "outlet": _edge(net, name, "outlet"),
    }
    found: Page = {
        key: tell.number(f"part/{name}/{key}", draws[key], dimension, f"{name}: {say}")
        for key, dimension, say in (
            ("flow", "mass flow", "air"), ("loss", "pressure", "loss of total pressure"),
            ("outlet", "temperature", "air leaving it"),
        )
    }  # fmt: skip
    found["heat"] = None
    if isinstance(part, Cooler):
        found["heat"] = tell.number(f"part/{name}/heat", _edge(net, name, "heat"), "power",
                                    f"{name}: heat given to the air")  # fmt: skip
    return found


def _gains(table: Cooling, circuit: str, found: Page) -> Page:
    rows = [
        {"part": part, "gain": certain(kelvin, "temperature difference")}
        for part, kelvin in sorted(found["gain"].items(), key=lambda pair: -pair[1])
        if kelvin > 0.05
    ]  # fmt: skip
    return {"circuit": circuit, "part": found["part"], "kind": found["kind"], "rows": rows}


def _exits(tell: Teller, net: Page) -> list[Page]:
    rows = []
    for name, found in net["exits"].items():
        circuit = next(c for c in tell.table.circuits if c.name == found["circuit"])
        assert circuit.limit is not None
        for place, option in found["places"].items():
            hot = np.asarray(option["hottest"][circuit.name])
            key = f"exit/{name}/{place}"
            areas = np.minimum(np.asarray(option["sized"]["areas"]), 8 * option["sized"]["now"])
            say = f"{name} at the {place}"
            met = f"{say}: net area at which {circuit.name} just meets its limit"
            hottest = f"{say}: {circuit.name}"
            drag, front, rear = option["change"]
            over = float(np.mean(hot > circuit.limit.best))
            needed = option["sized"]["needed"]
            rows.append({
                "exit": name, "place": place, "circuit": circuit.name,
                "is_now": place == option_now(tell.table, name),
                "hottest": tell.number(f"{key}/hottest", hot, "temperature", hottest),
                "over": certain(over, "share"),
                "just": tell.number(f"{key}/area", areas, "area", met),
                "needed": None if needed is None else certain(needed, "area"),
                "drag": tell.number(f"{key}/drag", drag, "area", f"{say}: change of CxS"),
                "front": tell.number(f"{key}/front", front, "area", f"{say}: change of CzSf"),
                "rear": tell.number(f"{key}/rear", rear, "area", f"{say}: change of CzSr"),
                "legality": _legality(tell.table, place, option),
            })  # fmt: skip
    return rows


def option_now(table: Cooling, name: str) -> str:
    """Return the place an exit has today."""
    return next(str(e.at) for e in table.exits if e.name == name)


def _forecast(tell: Teller, charts: Page) -> list[Page]:
    rows = []
    for circuit, found in charts["forecast"].items():
        ambient = np.asarray(found["ambient"])
        own = next(c for c in tell.table.circuits if c.name == circuit)
        assert own.limit is not None
        for i, place in enumerate(found["places"]):
            draws = np.asarray(found["draws"])[i]
            rows.append({
                "circuit": circuit, "place": place,
                "ambient_c": (ambient - _KELVIN).tolist(),
                "limit_c": own.limit.best - _KELVIN,
                "numbers": [
                    tell.number(f"forecast/{circuit}/{place}/{t - _KELVIN:.0f}", draws[k],
                                "temperature", f"{circuit} at {place}, {t - _KELVIN:.0f} °C air")
                    for k, t in enumerate(ambient)
                ],
                "over": np.asarray(found["probability"])[i].tolist(),
            })  # fmt: skip
    return rows


def _blanking(charts: Page) -> list[Page]:
    return [
        {
            "circuit": circuit,
            "ambient_c": (np.asarray(found["ambient"]) - _KELVIN).tolist(),
            "blanking": np.asarray(charts["blanking"]).tolist(),
            "temperature_c": (np.asarray(found["temperature"]) - _KELVIN).tolist(),
            "over": np.asarray(found["probability"]).tolist(),
            "advice": [None if np.isnan(a) else float(a) for a in np.asarray(found["advice"])],
        }
        for circuit, found in charts["blanked"].items()
    ]


def _loads(tell: Teller, net: Page) -> list[Page]:
    """Return what the air through the car costs, beside what the budget holds of it."""
    rows = [_load_row(tell, name, "part", load) for name, load in net["loads"]["parts"].items()]
    rows.append(_load_row(tell, "all of it", "total", net["loads"]["total"]))
    answers = tell.answers
    kinds = {p.name: p.kind for p in answers.project.parts if p.kind in ("cooling", "air net")}
    coolers = list(kinds)
    if coolers and answers.project.parts:
        state = answers.states[0]
        found = answers.budget(state, min(answers.speeds, key=lambda v: abs(
            v - tell.table.speed.best)))  # fmt: skip
        own = [r for r in found.rows if r.kind == "part" and r.name in coolers]
        load = [sum(getattr(r, f) for r in own) for f in ("drag", "front", "rear")]
        how = "closed form" if set(kinds.values()) == {"cooling"} else "the net, by its part"
        rows.append(_load_row(tell, f"in the budget: {how}", "budget", load))
    return rows


def _load_row(tell: Teller, name: str, kind: str, load: Sequence[Any]) -> Page:
    drag, front, rear = (np.asarray(x) for x in load)
    key = f"load/{name}"
    return {
        "name": name, "kind": kind,
        "front": tell.number(f"{key}/front", front, "area", f"{name}: CzSf"),
        "rear": tell.number(f"{key}/rear", rear, "area", f"{name}: CzSr"),
        "total": tell.number(f"{key}/total", front + rear, "area", f"{name}: CzS"),
        "drag": tell.number(f"{key}/drag", drag, "area", f"{name}: CxS"),
    }  # fmt: skip


def _controls(table: Cooling) -> Mapping[str, Any]:
    """Return what the page's sliders may move, and where they stand."""
    areas: list[Page] = [
        {"part": i.name, "cm2": round(1e4 * i.area.best, 1), "places": []} for i in table.inlets
    ]
    for way in table.exits:
        places = [str(way.at), *(str(p) for p in way.also if p != way.at)]
        areas.append({"part": way.name, "cm2": round(1e4 * way.area.best, 1), "places": places})
    for row in table.ducts:
        areas.append({"part": row.name, "cm2": round(1e4 * row.area.best, 1), "places": []})
    for gap in table.leaks:
        areas.append({"part": gap.name, "cm2": round(1e4 * gap.area.best, 1), "places": []})
    return {
        "speed_kmh": round(_KMH * table.speed.best, 1),
        "air_c": round(table.temperature.best - _KELVIN, 1),
        "areas": areas,
        "cores": [c for circuit in table.circuits for c in circuit.coolers],
        "kinds": {
            kind: {"exit": exit_places(), "inlet": inlet_kinds()}.get(kind, ()) for kind in KINDS
        },
    }
