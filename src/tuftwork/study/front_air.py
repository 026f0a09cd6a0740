"""What a splitter's channels bring into the cooling net, for the net's own pages and forecasts."""

from collections.abc import Mapping, Sequence

import numpy as np

from tuftwork.aeromap.interface import Field, PartModel, PlatformState
from tuftwork.aeromap.part import ChannelSplitter, draws_of
from tuftwork.car import Project, Splitter
from tuftwork.quantity import Array
from tuftwork.study.answers import Answers
from tuftwork.study.inputs import has_platform, state_names
from tuftwork.study.job import Job, _tables
from tuftwork.study.store import Tree


def is_shared(project: Project) -> bool:
    """Return whether a splitter's channel goes to a node of the cooling net."""
    return project.cooling is not None and any(
        way is not None and way.into
        for part in project.parts
        if isinstance(part, Splitter) and part.channel is not None
        for way in (part.channel.ramps, part.channel.vent)
    )


def air_needs(project: Project) -> tuple[str, ...]:
    """Return the steps from which the splitter's air follows; none where it goes elsewhere."""
    if not is_shared(project):
        return ()
    own = state_names(project)[0]
    ride = (f"map {own}", f"ride {own}", "axes") if has_platform(project) else ()
    return (*_tables(project), *ride)


def air_fed(job: Job, results: Mapping[str, Tree], most: int = 0) -> dict[str, Array]:
    """Return air by node of the net over the car's speed, the first ``most`` draws [m²].

    In the baseline, at the speed of the cooling's hot day and the ride heights of the studied
    speed next to it. Forecasts at other places take the flow over the speed as it is.
    """
    if not is_shared(job.project):
        return {}
    assert job.project.cooling is not None
    answers = Answers(job=job, results=results)
    state = answers.states[0]
    speed = float(job.project.cooling.speed.best)
    models = answers.models(state)
    draws = draws_of(models, answers.ensemble)
    fed = fed_by(models, answers.platform(state, speed), draws)
    size = answers.ensemble.size
    return {
        node: np.broadcast_to(flow, (size,))[: most or size].copy() for node, flow in fed.items()
    }


def fed_by(
    models: Sequence[PartModel], platform: PlatformState, draws: Mapping[str, Field]
) -> dict[str, Field]:
    """Return what every splitter with channels brings to nodes of the net. [m²]"""
    around: dict[str, Field] = {}
    found: dict[str, Field] = {}
    for model in models:
        if isinstance(model, ChannelSplitter):
            read = model.read(platform, draws, around)
            for node, flow in model.fed(read, draws, around).items():
                found[node] = found.get(node, np.zeros(1)) + flow
            continue
        for channel, effect in model.load(platform, draws, around).effects.items():
            around[channel] = around[channel] + effect if channel in around else effect
    return found
