"""What the report says in words: scope, methods, captions, limits, sources."""

from tuftwork.quantity import format_plain, format_quantity, format_summary, summarise
from tuftwork.study.answers import Answers

_KMH = 3.6


def scope_of(answers: Answers) -> list[dict[str, str]]:
    """Return what the report is about, line by line."""
    project = answers.project
    car, mass = project.car, project.mass_state()
    density = summarise(answers.air.density.reshape(-1))
    rows = [
        ("Car", f"{car.name}{f', {car.category}' if car.category else ''}"),
        ("Baseline", answers.states[0]),
        ("States", ", ".join(answers.states)),
        (
            "Mass state",
            f"{mass.name}: {format_quantity(mass.mass)}, {format_quantity(mass.front_weight)} in "
            "front",
        ),
        (
            "At rest",
            f"hf {format_quantity(mass.ride_height_front)}, "
            f"hr {format_quantity(mass.ride_height_rear)}",
        ),
        ("Speeds", ", ".join(format_plain(v, "speed", "km/h", 0) for v in answers.speeds)),
        (
            "Air",
            f"{format_quantity(project.weather.temperature)}, density "
            f"{format_summary(density, 'density')}",
        ),
        ("Wheelbase", format_quantity(car.wheelbase)),
        ("Frontal area", format_quantity(car.frontal_area)),
        ("Draws", f"{answers.ensemble.size}, seed {project.study.seed}"),
    ]
    return [{"label": label, "text": text} for label, text in rows]


def methods_of(answers: Answers) -> list[str]:
    """Return how the numbers were worked out."""
    found = [
        "Every uncertain input is drawn together with all others; engines run on all draws, and "
        "differences are taken draw by draw.",
        "Each part's load comes from a closed form with a stated range of validity; what parts do "
        "to each other stands in rows of its own.",
    ]
    if answers.is_tied:
        found.append(
            f"{len(answers.project.measured)} measured rows narrow the draws; a discrepancy of the "
            "models is kept, so that many rows never make the answer surer than the models deserve."
        )
    if answers.has_platform:
        found.append(
            "Loads move the ride heights and ride heights move the loads; every equilibrium is "
            "searched for at every speed and draw, and the one that connects to rest is shown."
        )
    return found


def captions_of(answers: Answers) -> dict[str, str]:
    """Return a sentence for every figure that says what to see."""
    state = answers.states[0]
    speed = answers.speeds[-2] if len(answers.speeds) > 1 else answers.speeds[-1]
    at = answers.at(state, speed)
    captions = {
        "waterfall": f"Where the downforce comes from at {at}: each step adds to the one above, "
        "teal what the front axle carries, brown the rear.",
        "balance": "",
        "map": "",
        "states": "",
    }
    if answers.has_platform:
        rise = _share_words(answers, state)
        captions["balance"] = (
            f"Loads and balance along the platform path, {state}: {rise} Bands hold 50 and 80 % of "
            "the draws."
        )
        captions["map"] = (
            f"CzS over ride heights, {state}, with the path of the car through the speeds and the "
            "cloud of draws around it; below the dashed line the rear axle loses more than 2 % of "
            "its load per millimetre."
        )
        captions["states"] = (
            f"Against '{state}' at {speed * _KMH:.0f} km/h, platform loop closed, differences draw "
            "by draw. Areas in m²."
        )
    return captions


def _share_words(answers: Answers, state: str) -> str:
    keep = answers.kept(state)
    first, last = (
        summarise(answers.draws(state, "share", v)[keep]).best
        for v in (answers.speeds[0], answers.speeds[-1])
    )
    return (
        f"the front share goes from {100 * first:.1f} % at {answers.speeds[0] * _KMH:.0f} km/h to "
        f"{100 * last:.1f} % at {answers.speeds[-1] * _KMH:.0f} km/h."
    )


def limits_of(answers: Answers) -> list[str]:
    """Return what the report does not say, and what a reader must be told."""
    found = [
        "The engines are estimates; absolute levels rest on what was measured. Differences between "
        "states are surer than levels.",
        "Straight running without wind: roll, yaw and steer are not varied.",
        "Nothing here is a strength calculation or a statement of legality.",
    ]
    for state in answers.states[:1]:
        found += answers.notices(state)
    return found


def sources_of(answers: Answers) -> list[str]:
    """Return the works the numbers rest on, with the place in each."""
    seen = {
        f"{source.key}, {source.place}{' (from memory)' if source.status == 'memory' else ''}"
        for state in answers.states
        for model in answers.models(state)
        for source in model.sources
    }
    seen |= {f"{source.key}, {source.place}" for source in answers.air.sources}
    return sorted(seen)
