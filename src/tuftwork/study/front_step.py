"""Tables of splitters with a channel: worked out once, read by budget, map and tie."""

from collections.abc import Mapping

from tuftwork.aeromap.part import ChannelSplitter
from tuftwork.floor.front_make import strip_table
from tuftwork.study.executor import executor_for
from tuftwork.study.floor_step import channel_models
from tuftwork.study.job import FRONT_TABLES, Job
from tuftwork.study.step import Pulse, Step
from tuftwork.study.store import Tree

_VERSION = 3
_SECONDS = 1.5  # [s] a channel takes in one process on a quiet core
_TASKS = 8


def front_table_steps(job: Job) -> list[Step]:
    """Return the step of the tables; none where no splitter has a channel."""
    models = channel_models(job.project, ChannelSplitter)
    if not models:
        return []

    def work(results: Mapping[str, Tree], pulse: Pulse) -> Tree:
        made: dict[str, Tree] = {}
        total = sum(len(m.spec.strips) for m in models.values())
        done = 0
        for key, model in models.items():
            rows = []
            for strip in model.spec.strips:
                where = executor_for(job.scheduler, seconds=_SECONDS, tasks=_TASKS)
                rows.append(strip_table(model.spec, strip, each=where.each).tree())
                done += 1
                pulse.beat(done / total)
            made[key] = rows
        return made

    return [
        Step(
            name=FRONT_TABLES, title="Splitter: the channels under it over clearance and losses",
            inputs={"keys": sorted(models)}, needs=(), work=work, version=_VERSION,
            weight=3.0 * len(models),
        )
    ]  # fmt: skip
