"""Large counts on the cluster that the server was told of, and here while that is not to be had."""

import concurrent.futures
import socket
import sys

import numpy as np
import pytest

from explorer.app_pages.choose import cluster as module
from explorer.app_pages.choose import counting, plan
from explorer.app_pages.choose.cluster import Cluster, scheduler_address
from explorer.inputs import Inputs
from propmodel.studies.executors import OtherModelError
from propmodel.studies.sweep import sweep

OUTPUTS = ("hover_time", "mass")


@pytest.fixture(autouse=True)
def sent_however_small(monkeypatch):
    monkeypatch.setattr(module, "SENT_FROM", 2)


def job_on(monkeypatch, where):
    """A count of some builds with this cluster, done."""
    monkeypatch.setattr(counting, "cluster", lambda: where)
    inputs = Inputs()
    values = {"kv": tuple(float(k) for k in range(1500, 1540))}
    made = plan.plan(inputs, values, {})
    job = counting.SweepJob(repr(where), made, OUTPUTS, 40, counting.SweepCache())
    job.begin()
    assert job.wait(90) and job.fault == "" and job.answer is not None and not job.away
    alone = sweep(made.base, made.axes, list(OUTPUTS), tables=made.tables, hold=counting.HOLD, processes=1)
    for name in OUTPUTS:
        np.testing.assert_array_equal(job.answer.found[name], alone[name])
    return job.answer.where


def test_the_address_comes_from_the_environment():
    assert scheduler_address({}) == "" and scheduler_address({module.SCHEDULER_VARIABLE: "tcp://a:1"}) == "tcp://a:1"


def test_without_a_cluster_it_counts_here_and_says_nothing(monkeypatch):
    assert job_on(monkeypatch, Cluster("")) == ""


def test_small_counts_stay_here(monkeypatch):
    monkeypatch.setattr(module, "SENT_FROM", 41)
    assert job_on(monkeypatch, Cluster("tcp://127.0.0.1:9")) == ""


def test_a_scheduler_out_of_reach_is_one_sentence_and_it_counts_here(monkeypatch):
    pytest.importorskip("distributed", reason="the cluster extra is not installed")
    monkeypatch.setattr(module, "CONNECT", 0.5)
    with socket.socket() as taken:  # bound, but nobody listens
        taken.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{taken.getsockname()[1]}"
        assert job_on(monkeypatch, Cluster(address)) == "The cluster is out of reach: counted on this server."
    assert job_on(monkeypatch, Cluster("no address")) == "The cluster is out of reach: counted on this server."


def test_without_the_package_it_counts_here(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    said = job_on(monkeypatch, Cluster("tcp://127.0.0.1:9"))
    assert said == "The cluster cannot be used, because distributed is not installed on this server: " + (
        "counted on this server."
    )


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (OtherModelError("a worker runs another propmodel"), "The cluster runs another state of this program"),
        (OSError("gone"), "The cluster failed on the way"),
    ],
)
def test_a_cluster_that_fails_on_the_way_is_said_and_it_counts_here(monkeypatch, wrong, said):
    class Failing(concurrent.futures.Executor):
        def submit(self, *args, **kwargs):
            future = concurrent.futures.Future()
            future.set_exception(wrong)
            return future

    where = Cluster("tcp://127.0.0.1:9")
    monkeypatch.setattr(where, "place", lambda size: module.Place(Failing(), "Counted on the cluster, 1 core."))
    assert job_on(monkeypatch, where) == f"{said}: counted on this server."


@pytest.mark.filterwarnings("ignore")  # of the cluster's own code
def test_a_real_cluster_counts_and_the_page_says_so(monkeypatch):
    distributed = pytest.importorskip("distributed", reason="the cluster extra is not installed")
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=True, dashboard_address=":0", silence_logs=50
    ) as running:
        where = Cluster(running.scheduler_address)
        assert job_on(monkeypatch, where) == "Counted on the cluster, 1 core."
        running.scale(0)
        running.sync(running._correct_state)
        while where._client.ncores():
            pass
        assert job_on(monkeypatch, where) == "The cluster has no workers: counted on this server."
        where.close()
