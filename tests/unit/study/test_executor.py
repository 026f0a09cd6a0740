"""A sweep gives the same answers wherever it runs."""

import os
import shutil
import warnings
from pathlib import Path

import numpy as np
import pytest
from tests.unit.study.small_car import STATES, write_small_car

from tuftwork.errors import Cancelled, InputError
from tuftwork.study import Bench
from tuftwork.study.executor import Cluster, Executor, InLine, Processes, executor_for
from tuftwork.study.job_step import job_steps
from tuftwork.study.step import digests_of
from tuftwork.study.store import Store


def square(x: int) -> int:
    return x * x


def answers(executor: Executor) -> list[int]:
    found = dict(executor.each(square, list(range(7))))
    return [found[i] for i in range(7)]


def test_in_this_process() -> None:
    assert answers(InLine()) == [x * x for x in range(7)]


def test_in_processes() -> None:
    # a package of the standard library as the task: the test module itself is not importable there
    found = dict(Processes(2).each(abs, [-3, 4, -5]))
    assert found == {0: 3, 1: 4, 2: 5}


def test_processes_that_stay_serve_the_next_sweep() -> None:
    pool = Processes(1, keeps=True)
    first, again = (dict(pool.each(eval, ["__import__('os').getpid()"])) for _ in range(2))
    assert first == again
    assert first[0] != os.getpid()
    pool.close()
    fresh = dict(Processes(1).each(eval, ["__import__('os').getpid()"]))
    assert fresh != first


def test_on_a_real_scheduler_with_two_workers() -> None:
    distributed = pytest.importorskip("distributed", reason="the extra 'cluster' is not installed")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the scheduler's own warnings about ports in use
        with distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=False, dashboard_address=None
        ) as cluster:
            remote = executor_for(cluster.scheduler_address, seconds=0.0, tasks=3)
            assert isinstance(remote, Cluster)
            found = dict(remote.each(abs, [-3, 4, -5]))
            remote.close()
    assert found == {0: 3, 1: 4, 2: 5}


def test_a_study_on_a_scheduler_gives_the_same_answers(tmp_path: Path) -> None:
    distributed = pytest.importorskip("distributed", reason="the extra 'cluster' is not installed")
    # draws in three shares: the first is run here, the others go to the workers
    here = Bench(
        write_small_car(tmp_path / "here", draws=192, states=STATES[:2], devices=[], schedules=[])
    )
    here.run()
    folder = Path(shutil.copytree(here.folder, tmp_path / "there"))
    for name in ("map wing flat", "ride wing flat"):
        digest = digests_of(job_steps(here.answers.job))[name]
        Store(folder / "results").path_of(digest).unlink()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=False, dashboard_address=None
        ) as cluster:
            bench = Bench(folder, scheduler=cluster.scheduler_address)
            bench.run()
    for name in ("total", "height_rear"):
        mine = bench.answers.draws("wing flat", name, 220 / 3.6)
        np.testing.assert_allclose(mine, here.answers.draws("wing flat", name, 220 / 3.6))


def test_a_scheduler_that_does_not_answer_is_named() -> None:
    pytest.importorskip("distributed", reason="the extra 'cluster' is not installed")
    with pytest.raises(InputError, match="Is the scheduler running"):
        Cluster("tcp//nowhere")


def test_cancelling_stops_a_sweep() -> None:
    done: list[int] = []

    def sweep() -> None:
        for index, _ in InLine().each(square, [1, 2, 3], lambda: len(done) >= 2):
            done.append(index)

    with pytest.raises(Cancelled):
        sweep()
    assert done == [0, 1]


def test_small_sweeps_stay_here() -> None:
    assert isinstance(executor_for(None, seconds=0.1, tasks=50), InLine)
