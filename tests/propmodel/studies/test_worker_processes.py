"""Pieces shared with further processes: same answers, and none lost when a process fails or the work is stopped."""

import sys
import threading

import pytest

from propmodel.studies import worker_processes
from propmodel.studies.worker_processes import Partner, share


def gather(partners, count=40, **more):
    found = {}
    whole = share(pow, 2, range(count), take=lambda k, v: found.__setitem__(k, v), partners=partners, **more)
    return whole, found


@pytest.mark.parametrize("partners", [0, 1, 3])
def test_every_piece_comes_back_once(partners):
    told = []
    whole, found = gather(partners, told=lambda done: told.append(done))
    assert whole and found == {k: 2**k for k in range(40)}
    assert told == sorted(told) and told[-1] == 40


def test_another_process_does_the_work():
    import os

    partner = Partner(os.path.join, "a")
    try:
        assert partner.ask("b") == os.path.join("a", "b")
        assert partner._process.pid != os.getpid()
    finally:
        partner.close()
    assert partner._process.poll() is not None


@pytest.mark.parametrize("program", ["/no/such/python", "/bin/false"])
def test_a_process_that_cannot_start_or_dies_loses_no_piece(monkeypatch, program):
    monkeypatch.setattr(sys, "executable", program)
    whole, found = gather(2)
    assert whole and len(found) == 40


def test_a_task_that_cannot_be_sent_is_done_here():
    found = {}
    here = set()

    def local(setup, piece):
        here.add(threading.get_ident())
        return setup + piece

    assert share(local, 1, range(6), take=lambda k, v: found.__setitem__(k, v), partners=1)
    assert found == {k: k + 1 for k in range(6)} and here == {threading.get_ident()}


def test_it_stops_when_told():
    whole, found = gather(0, told=lambda done: False)
    assert not whole and len(found) == 1
    whole, found = gather(1, count=4000, told=lambda done: False)
    assert not whole and len(found) < 4000


def test_an_error_of_the_task_is_raised_here():
    with pytest.raises(TypeError):
        share(pow, "text", range(3), take=lambda k, v: None, partners=0)
    # whoever meets it, it ends up here
    with pytest.raises(TypeError):
        share(pow, "text", range(3), take=lambda k, v: None, partners=1)


def test_what_a_task_prints_does_not_fall_between_the_answers():
    partner = Partner(print, "printed by the task")
    try:
        assert [partner.ask(k) for k in range(3)] == [None, None, None]
    finally:
        partner.close()


def test_only_what_is_public_is_offered():
    assert set(worker_processes.__all__) == {"Partner", "serve", "share"}
