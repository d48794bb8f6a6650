"""Marking on a Dask cluster of two workers, one of them lost midway: no mark is lost or different."""

import os
import signal
import warnings

import pytest

from eqlib.grading import bulk
from eqlib.grading.desk import ClusterError, desk_at

pytestmark = [pytest.mark.slow, pytest.mark.filterwarnings("ignore")]
STUDENTS = [f"s{number:02d}" for number in range(1, 9)]


def test_a_worker_lost_midway_costs_nothing(tiny):
    from distributed import Client, LocalCluster

    for student in STUDENTS:
        tiny.hand_in(tiny.work(student, code=""))
    with (
        warnings.catch_warnings(),
        LocalCluster(2, threads_per_worker=1, dashboard_address=None, silence_logs=50) as cluster,
        Client(cluster) as client,
    ):
        warnings.simplefilter("ignore")
        workers = list(client.run(os.getpid).values())
        assert len(set(workers)) == 2
        lost = []

        def lose_one(done, of, student):
            if done == 2:
                lost.append(workers[0])
                os.kill(workers[0], signal.SIGKILL)

        made = bulk.grade(
            tiny.root, "tiny", desk_for=desk_at(cluster.scheduler_address), progress=lose_one, feedback=False
        )
    assert lost
    assert [row.student for row in made.marked] == STUDENTS, (made.stopped, made.problems)
    assert (made.stopped, {row.points for row in made.rows}) == ("", {4})


def test_a_cluster_that_is_not_there_is_one_line(tiny):
    tiny.hand_in(tiny.work("s01"))
    with pytest.raises(ClusterError, match="no cluster answers there") as caught:
        bulk.grade(tiny.root, "tiny", desk_for=desk_at("not-an-address"))
    assert "\n" not in str(caught.value)
