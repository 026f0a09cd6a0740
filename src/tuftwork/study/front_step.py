"""Tables of splitters with a channel: worked out once, read by budget, map and tie."""

from collections.abc import Mapping

from tuftwork.aeromap.part import ChannelSplitter
from tuftwork.floor.front_pair import strip_tables
from tuftwork.study.executor import executor_for
from tuftwork.study.floor_step import channel_models
from tuftwork.study.job import FRONT_TABLES, Job
from tuftwork.study.step import Pulse, Step
from tuftwork.study.store import Tree

_VERSION = 4
_SECONDS = 1.5  # [s] a channel takes in one process on a quiet core
_TASKS = 8


def front_table_steps(job: Job) -> list[Step]:
    """Return the step of the tables; none where no splitter has a channel."""
    models = channel_models(job.project, ChannelSplitter)
    if not models:
        return []

    def work(results: Mapping[str, Tree], pulse: Pulse) -> Tree:
        made: dict[str, Tree] = {}
        for done, (key, model) in enumerate(models.items()):
            # two that exchange air take three times as long as two with a wall between them
            much = 3.0 if model.spec.passage is not None else 1.0
            where = executor_for(job.scheduler, seconds=much * _SECONDS, tasks=_TASKS)
            made[key] = [t.tree() for t in strip_tables(model.spec, each=where.each)]
            pulse.beat((done + 1) / len(models))
        return made

    return [
        Step(
            name=FRONT_TABLES, title="Splitter: the channels under it over clearance and losses",
            inputs={"keys": sorted(models)}, needs=(), work=work, version=_VERSION,
            weight=3.0 * len(models),
        )
    ]  # fmt: skip
