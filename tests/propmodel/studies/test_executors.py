"""Where sweeps are worked out: here, in worker processes, on executors; workers that die or run another propmodel."""

import concurrent.futures
import os
import shutil
import signal
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import numpy as np
import pytest

import propmodel
from propmodel.studies import executors
from propmodel.studies.executors import STANDBY, check_processes, process_pool, walk
from propmodel.studies.sweep import CHUNK, sweep

SCREE = propmodel.demo("scree")
TOP = Path(__file__).resolve().parents[3]


@pytest.fixture(autouse=True)
def no_process_is_left():
    yield
    STANDBY.close()


def big(count):
    return {"motor.kv": np.linspace(1500.0, 2300.0, count)}


def double(setup, piece):
    return setup * piece


def die_on_three(setup, piece):
    """Ends the worker process, but not this one."""
    if piece == 3 and os.getpid() != setup:
        os._exit(9)
    return 2 * piece


def slow_pid(setup, piece):
    time.sleep(setup)
    return os.getpid()


def gather(task, setup, pieces, **how):
    found = []
    whole = walk(task, setup, pieces, on_result=lambda piece, answer: found.append((piece, answer)), **how)
    return whole, found


@pytest.mark.parametrize("partners", [0, 1, 3])
def test_every_answer_comes_once_and_in_order(partners):
    told = []
    whole, found = gather(double, 2, range(40), partners=partners, progress=lambda done: told.append(done))
    assert whole and found == [(k, 2 * k) for k in range(40)]
    assert told[-1] == 40 and told == sorted(told) and set(told) - {0} == set(range(1, 41))
    whole, found = gather(double, 2, range(40), partners=partners, ordered=False)
    assert whole and sorted(found) == [(k, 2 * k) for k in range(40)]


def test_worker_processes_do_part_of_the_work():
    whole, found = gather(slow_pid, 0.2, range(40), partners=1)
    assert whole and len({pid for _, pid in found}) == 2 and os.getpid() in {pid for _, pid in found}


def test_a_worker_that_dies_costs_no_answer():
    whole, found = gather(die_on_three, os.getpid(), range(30), partners=2)
    assert whole and found == [(k, 2 * k) for k in range(30)]
    # the pool that lost a worker is not used again
    assert gather(double, 2, range(30), partners=2)[0]


def test_processes_that_cannot_start_cost_no_answer(monkeypatch):
    def refuse(processes):
        class Refusing(concurrent.futures.Executor):
            def submit(self, *args, **kwargs):
                raise OSError("no more processes")

        return Refusing()

    monkeypatch.setattr(executors, "process_pool", refuse)
    whole, found = gather(double, 2, range(9), partners=5)
    assert whole and found == [(k, 2 * k) for k in range(9)]


def test_an_executor_that_fails_is_a_clear_error():
    with process_pool(1) as pool, pytest.raises(RuntimeError, match="the executor failed before all builds were coun"):
        gather(die_on_three, os.getpid(), range(30), executor=pool)
    with process_pool(1) as pool:
        pass
    with pytest.raises(RuntimeError, match=r"executor failed .* cannot schedule new futures after shutdown"):
        gather(double, 2, range(3), executor=pool)


def test_what_the_engine_refuses_is_said_in_its_words_by_a_worker_too():
    with process_pool(1) as pool, pytest.raises(ValueError, match=r"KV must be .*, got -5"):
        sweep(SCREE, {"motor.kv": [-5.0]}, "mass", executor=pool)


def test_a_walk_stops_when_told_also_while_it_waits_for_others():
    whole, found = gather(double, 2, range(4000), partners=1, progress=lambda done: False)
    assert not whole and len(found) <= 1
    with process_pool(1) as pool:
        begun = time.monotonic()
        whole, found = gather(slow_pid, 4.0, range(3), executor=pool, progress=lambda done: False)
        assert not whole and found == [] and time.monotonic() - begun < 3.5


def test_answers_are_the_same_on_one_process_on_pools_and_on_threads():
    count = 3 * CHUNK + 11
    one = sweep(SCREE, big(count), ["hover_time", "winding_heat"], processes=1)
    others = [sweep(SCREE, big(count), ["hover_time", "winding_heat"], processes=2)]
    with process_pool(2) as pool, concurrent.futures.ThreadPoolExecutor(2) as threads:
        others += [sweep(SCREE, big(count), ["hover_time", "winding_heat"], executor=e) for e in (pool, threads)]
    for other in others:
        assert other.complete
        for name, values in one.values.items():
            np.testing.assert_array_equal(other[name], values)


@pytest.mark.parametrize("processes", [0, -1, 62, 1.5, "2", True, float("nan")])
def test_wrong_numbers_of_processes_are_refused(processes):
    with pytest.raises(ValueError, match=r"processes must be a whole number from 1 to 61, got"):
        check_processes(processes)
    with pytest.raises(ValueError, match=r"processes must be a whole number from 1 to 61, got"):
        sweep(SCREE, {"pack.cells": [4, 6]}, "mass", processes=processes)


def test_no_more_processes_than_chunks(monkeypatch):
    asked = []
    monkeypatch.setattr(
        executors, "process_pool", lambda n: asked.append(n) or concurrent.futures.ThreadPoolExecutor(n)
    )
    sweep(SCREE, {"pack.cells": [4, 6]}, "mass", processes=12)
    assert asked == []
    sweep(SCREE, big(2 * CHUNK + 1), "mass", processes=12)
    assert asked == [2]  # beside this one


def test_what_is_no_executor_is_refused():
    with pytest.raises(ValueError, match=r"executor must be a concurrent.futures.Executor, got str"):
        sweep(SCREE, {"pack.cells": [4, 6]}, "mass", executor="tcp://10.0.0.1:8786")
    with process_pool(1) as pool, pytest.raises(ValueError, match="give processes or an executor, not both"):
        sweep(SCREE, {"pack.cells": [4, 6]}, "mass", executor=pool, processes=2)


def test_a_worker_of_another_pool_starts_no_further_processes():
    with process_pool(1) as pool:
        assert pool.submit(_count_children).result() == 0


def _count_children():
    import multiprocessing

    sweep(SCREE, {"motor.kv": np.linspace(1500.0, 2300.0, 10 * CHUNK)}, "mass")
    return len(multiprocessing.active_children())


# ---- other checkouts, scripts, ends -----------------------------------------------------------------------


@pytest.fixture(scope="module")
def other_checkout(tmp_path_factory):
    """A checkout whose masses are another's: gravity is off by a factor."""
    folder = tmp_path_factory.mktemp("other checkout")
    for name in ("propmodel", "data"):
        shutil.copytree(TOP / name, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(TOP / "pyproject.toml", folder)
    constants = folder / "propmodel" / "base" / "constants.py"
    constants.write_text(constants.read_text("utf-8").replace("9.80665", "19.6133"), "utf-8")
    return folder


def run(folder, text, *, cwd):
    """Run a script; its folder is the first place it imports from."""
    script = folder / "script.py"
    script.write_text(textwrap.dedent(text), "utf-8")
    alone = {k: v for k, v in os.environ.items() if k != "PYTHONPATH"} | {"PYTHONPATH": str(TOP)}
    return subprocess.run(
        [sys.executable, str(script)], cwd=cwd, env=alone, capture_output=True, text=True, timeout=120
    )


def test_a_script_run_in_another_checkout_gets_its_own_answers(tmp_path, other_checkout):
    # not guarded by __name__: a worker must not run it again
    done = run(
        tmp_path,
        f"""
        print("script runs")
        import numpy as np, propmodel
        axes = {{"motor.kv": np.linspace(1500.0, 2300.0, {6 * CHUNK})}}
        scree = propmodel.demo("scree")
        one, two = (propmodel.sweep(scree, axes, "hover_power", processes=n)["hover_power"] for n in (1, 2))
        print(np.array_equal(one, two))
        """,
        cwd=other_checkout,
    )
    assert done.stdout.split("\n") == ["script runs", "True", ""], done.stderr


def test_a_worker_with_another_propmodel_refuses(tmp_path, other_checkout):
    done = run(
        tmp_path,
        f"""
        import sys, propmodel
        sys.path.insert(0, {str(other_checkout)!r})  # this program has its propmodel; a worker would find the other
        propmodel.sweep(propmodel.demo("scree"), {{"motor.kv": range(1000, 1000 + {3 * CHUNK})}}, "mass", processes=2)
        """,
        cwd=tmp_path,
    )
    assert done.returncode == 1
    last = done.stderr.strip().split("\n")[-1]
    assert "a worker runs another propmodel" in last and str(other_checkout) in last and str(TOP) in last


def test_the_fingerprint_minds_program_text_and_tables_but_not_line_ends(other_checkout, monkeypatch):
    own = executors.own_fingerprint()
    assert own.folder == str(TOP / "propmodel")

    def of(folder):
        monkeypatch.setattr(executors, "__file__", str(folder / "propmodel" / "studies" / "executors.py"))
        monkeypatch.setattr(executors, "data_path", lambda: folder / "data")
        return executors._fingerprint().source

    assert of(TOP) == own.source != of(other_checkout)
    constants = other_checkout / "propmodel" / "base" / "constants.py"
    changed = constants.read_bytes()
    try:
        constants.write_bytes((TOP / "propmodel" / "base" / "constants.py").read_bytes().replace(b"\n", b"\r\n"))
        assert of(other_checkout) == own.source
        # a wheel has its tables inside the package
        inside = other_checkout / "propmodel" / "data"
        shutil.copytree(TOP / "data", inside, ignore=shutil.ignore_patterns("source_keys.csv", "make_*.py", "fit_*.py"))
        monkeypatch.setattr(executors, "data_path", lambda: inside)
        assert executors._fingerprint().source == own.source
        shutil.rmtree(inside)
        cells = other_checkout / "data" / "packs" / "cells.csv"
        cells.write_bytes(cells.read_bytes() + b"\n")
        assert of(other_checkout) != own.source
    finally:
        constants.write_bytes(changed)


@pytest.mark.skipif(sys.platform == "win32", reason="signals")
def test_workers_end_when_the_program_is_killed(tmp_path):
    script = tmp_path / "script.py"
    script.write_text(
        "import os, signal\n"
        "from propmodel.studies.executors import process_pool\n"
        "pool = process_pool(1)\n"
        "print(pool.submit(os.getpid).result(), flush=True)\n"
        "os.kill(os.getpid(), signal.SIGKILL)\n",
        "utf-8",
    )
    done = subprocess.run(
        [sys.executable, str(script)],
        env=os.environ | {"PYTHONPATH": str(TOP)},
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == -signal.SIGKILL
    worker = int(done.stdout)
    for _ in range(100):
        if not _runs(worker):
            return
        time.sleep(0.1)
    pytest.fail("the worker outlived the program")


def _runs(pid):
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except OSError:
        return False


def test_worker_processes_wait_for_the_next_sweep_and_then_end(monkeypatch):
    monkeypatch.setattr(executors, "IDLE", 0.5)
    pids = [{pid for _, pid in gather(slow_pid, 0.1, range(30), partners=1)[1]} for _ in range(2)]
    assert pids[0] == pids[1] and len(pids[0]) == 2
    worker = (pids[0] - {os.getpid()}).pop()
    deadline = time.monotonic() + 20.0
    while _alive(worker):
        assert time.monotonic() < deadline
        time.sleep(0.1)
    # and after that a new one starts
    assert gather(double, 2, range(9), partners=1)[0]


def _alive(pid):
    import multiprocessing

    return pid in {child.pid for child in multiprocessing.active_children()}


# ---- threads of the linear algebra ------------------------------------------------------------------------

TOLD = [sys.executable, "-c", "import os; print(os.environ.get('OPENBLAS_NUM_THREADS'))"]
"""What a process started by a worker sees: the worker's environment."""


@pytest.mark.parametrize(("chosen", "wanted"), [(None, "1"), ("3", "3")])
def test_a_worker_has_one_thread_unless_the_caller_chose(monkeypatch, chosen, wanted):
    monkeypatch.delenv("OPENBLAS_NUM_THREADS", raising=False)
    if chosen is not None:
        monkeypatch.setenv("OPENBLAS_NUM_THREADS", chosen)
    before = dict(os.environ)
    with process_pool(1) as pool:
        assert pool.submit(subprocess.check_output, TOLD, text=True).result().strip() == wanted
    assert dict(os.environ) == before


@pytest.mark.skipif(sys.platform != "linux", reason="counts threads where Linux lists them")
def threads_of_a_worker():
    with process_pool(1) as pool:
        pool.submit(np.linalg.inv, np.eye(400)).result()
        return len(pool.submit(os.listdir, "/proc/self/task").result())


@pytest.mark.skipif(sys.platform != "linux", reason="counts threads where Linux lists them")
@pytest.mark.skipif(executors.cores() < 2, reason="on one core there is one thread anyway")
def test_the_linear_algebra_of_a_worker_starts_no_thread(monkeypatch):
    for name in executors._THREADS:
        monkeypatch.setenv(name, "2")
    two = threads_of_a_worker()
    for name in executors._THREADS:
        monkeypatch.delenv(name)
    assert threads_of_a_worker() == two - 1


def test_importing_propmodel_leaves_the_environment_alone():
    code = (
        "import os; before = dict(os.environ); import propmodel, propmodel.studies.executors as e; "
        "e.process_pool(1).shutdown(); assert dict(os.environ) == before"
    )
    bare = {name: v for name, v in os.environ.items() if name not in executors._THREADS}
    subprocess.run([sys.executable, "-c", code], check=True, cwd=TOP, env=bare, timeout=120)
