"""Tables of floors with a channel: worked out once, read by budget, map and tie."""

from collections.abc import Mapping
from typing import TypeVar

from tuftwork.aeromap.part import ChannelFloor, ChannelSplitter, part_models
from tuftwork.car import Floor, Project, Splitter
from tuftwork.floor.table_make import floor_table
from tuftwork.study.executor import executor_for
from tuftwork.study.inputs import state_names
from tuftwork.study.job import FLOOR_TABLES, Job
from tuftwork.study.step import Pulse, Step
from tuftwork.study.store import Tree

_VERSION = 4
_SECONDS = 3.0  # [s] a table takes in one process on a quiet core


Model = TypeVar("Model", ChannelFloor, ChannelSplitter)


def channel_models(project: Project, model_kind: type[Model]) -> dict[str, Model]:
    """Return every part of one kind that has a channel, in every state, by its tables' key."""
    found: dict[str, Model] = {}
    if not any(isinstance(p, Floor | Splitter) and p.channel is not None for p in project.parts):
        return found
    for name in state_names(project):
        for model in part_models(project, name if project.states else ""):
            if isinstance(model, model_kind):
                found.setdefault(model.spec.key, model)
    return found


def floor_table_steps(job: Job) -> list[Step]:
    """Return the step of the tables; none where no floor has a channel."""
    parts = channel_models(job.project, ChannelFloor)
    if not parts:
        return []

    def work(results: Mapping[str, Tree], pulse: Pulse) -> Tree:
        made: dict[str, Tree] = {}
        for k, (key, model) in enumerate(parts.items()):

            def beat(share: float, k: int = k) -> None:
                pulse.beat((k + share) / len(parts))

            spec = model.spec
            where = executor_for(job.scheduler, seconds=_SECONDS, tasks=21)
            made[key] = floor_table(
                spec.shape(), spec.closure(), front=spec.front, rear=spec.rear,
                wheelbase=spec.wheelbase, lengths=spec.lengths, moved=spec.moved, beat=beat,
                each=where.each,
            ).tree()  # fmt: skip
        return made

    return [
        Step(
            name=FLOOR_TABLES, title="Floor: the channel over ride heights and losses",
            inputs={"keys": sorted(parts)}, needs=(), work=work, version=_VERSION,
            weight=3.0 * len(parts),
        )
    ]  # fmt: skip
