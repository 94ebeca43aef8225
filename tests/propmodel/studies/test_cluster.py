"""Sweeps on a cluster: two worker processes of a local one, one of them killed on the way."""

import os
import signal

import numpy as np
import pytest

import propmodel
from propmodel.studies.sweep import CHUNK, Condition, Frontier, Meets, sweep

distributed = pytest.importorskip("distributed", reason="the cluster extra is not installed")

# what the cluster's own code is warned of does not concern us
pytestmark = pytest.mark.filterwarnings("ignore")

SCREE = propmodel.demo("scree")
AXES = {"motor.kv": np.linspace(1500.0, 2300.0, CHUNK), "pack.cells": [3, 4, 5, 6], "pack.capacity_ah": [1.0, 1.3, 1.8]}
NAMES = ["hover_time", "winding_heat"]
KEEP = [Frontier({"hover_time": "max", "mass": "min"}), Meets([Condition("thrust_to_weight", "at least", 4.0)])]


@pytest.fixture(scope="module")
def cluster():
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=":0", silence_logs=50
    ) as cluster:
        yield cluster


@pytest.fixture
def client(cluster):
    with distributed.Client(cluster) as client:
        client.wait_for_workers(2, timeout=60)  # one that a test killed is started again
        yield client


@pytest.fixture(scope="module")
def alone():
    return sweep(SCREE, AXES, NAMES, processes=1)


def same(found, alone):
    assert found.complete
    for name, values in alone.values.items():
        np.testing.assert_array_equal(found[name], values)


def test_answers_of_a_cluster_are_those_of_one_process(client, alone):
    pids = set(client.run(os.getpid).values())
    assert len(pids) == 2 and os.getpid() not in pids
    told = []
    with client.get_executor() as executor:
        same(sweep(SCREE, AXES, NAMES, executor=executor, progress=lambda d, n: told.append(d)), alone)
        kept = sweep(SCREE, AXES, NAMES, executor=executor, keep=KEEP)
    assert told[-1] == alone.size
    here = sweep(SCREE, AXES, NAMES, processes=1, keep=KEEP)
    for there, mine in zip(kept.results, here.results, strict=True):
        np.testing.assert_array_equal(there.index, mine.index)
        assert there.count == mine.count > 0


def test_a_worker_killed_on_the_way_changes_no_answer(client, alone):
    victim = next(iter(client.run(os.getpid).values()))
    killed = []

    def progress(done, total):
        if not killed:
            os.kill(victim, signal.SIGKILL)
            killed.append(done)

    with client.get_executor() as executor:
        same(sweep(SCREE, AXES, NAMES, executor=executor, progress=progress), alone)
    assert killed and killed[0] < alone.size


def test_a_cluster_that_goes_away_is_a_clear_error(client):
    def progress(done, total):
        client.close()

    with client.get_executor() as executor, pytest.raises(RuntimeError, match="the executor failed before all builds"):
        sweep(SCREE, AXES, NAMES, executor=executor, progress=progress)
