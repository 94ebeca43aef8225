"""Counting in the background: kept, stopped, bounded, for many visitors at once; minutes flown your way."""

from __future__ import annotations

import threading

import numpy as np
import pytest
from choose_counts import small, values_of

from explorer.app_pages.choose import answers, counting, plan, ranges
from explorer.app_pages.choose.looks import asked_outputs
from explorer.forecasts import headlines
from explorer.forecasts.mixed_flight import MIXED_TIME
from explorer.inputs import Inputs


def job_of(texts: dict | None = None, before=None, outputs=("hover_time", "thrust_to_weight", "mass")):
    inputs = Inputs()
    values = values_of(inputs, ranges.around(inputs) | (texts or {}))
    return counting.start(inputs, values, {}, outputs, plan.count_of(values, {}), before)


def test_a_count_is_kept_and_a_question_asked_again_costs_nothing():
    first = job_of()
    assert first.wait(60) and first.fault == "" and first.answer is not None
    assert first.done == first.size == first.answer.found.size
    assert job_of(before=first) is first
    first.answer = None  # as the page lets go of it
    again = job_of(before=first)
    assert again is not first and again.wait(0.0) and again.answer is not None


def test_a_new_question_stops_the_old_count():
    old = job_of({"kv": "1500 to 2400 by 7", "pitch_in": "3 to 5 by 0.1"})
    new = job_of({"kv": "1500 to 2400 by 130"}, before=old)
    assert old.wait(30) and old.stopped and old.answer is None
    assert new.wait(60) and new.answer is not None


def test_a_count_can_be_stopped():
    job = job_of({"kv": "1500 to 2400 by 9", "pitch_in": "3 to 5 by 0.1"})
    job.stop()
    assert job.wait(30) and job.stopped and job.answer is None and job.done < job.size


def test_no_more_than_two_counts_run_at_once_and_a_waiting_one_can_be_stopped():
    held = counting.sweep_cache()
    for _ in range(counting.COUNTING):
        assert held.turn.acquire(timeout=30)
    try:
        job = job_of({"kv": "1501, 1777"})
        assert not job.wait(0.4) and job.waiting
        job.stop()
        assert job.wait(60) and job.stopped
    finally:
        for _ in range(counting.COUNTING):
            held.turn.release()


def test_minutes_flown_your_way_are_those_of_the_page_minutes():
    race = Inputs(flying_style="race")
    for inputs in (Inputs(), race):
        values = values_of(inputs, ranges.around(inputs))
        outputs = asked_outputs(MIXED_TIME, "thrust_to_weight", [], "none")
        assert MIXED_TIME in outputs
        job = counting.start(inputs, values, {}, outputs, plan.count_of(values, {}), None)
        assert job.wait(120) and not job.fault and job.done == job.size
        found = job.answer.found
        assert float(np.nanmin(found[MIXED_TIME])) >= 0.0 and np.isfinite(found[MIXED_TIME]).mean() > 0.9
        # some combinations made one build of, and flown alone
        for index in np.linspace(0, found.size - 1, 7).astype(int):
            alone = plan.inputs_at(inputs, job.answer.plan, found, int(index), {})
            minutes = headlines.answers(alone).mid.minutes
            assert minutes == pytest.approx(float(found[MIXED_TIME].flat[index]), rel=2e-3)
            assert answers.points(alone, (MIXED_TIME,))[MIXED_TIME] == pytest.approx(minutes, rel=1e-6)
        means = [float(np.nanmean(found[name])) for name in (MIXED_TIME, "hover_time")]
        assert means[0] < means[1]


def test_the_best_pack_for_hanging_still_is_not_the_best_for_your_way():
    # a step is judged by the mix that is flown: the order of the steps is not that of the hover
    flown, still = (answers.changes(Inputs(), name) for name in (MIXED_TIME, "hover_time"))
    assert {c.words for c in flown} == {c.words for c in still}
    now = headlines.answers(Inputs()).mid.minutes
    assert all(c.before == pytest.approx(now, rel=1e-6) for c in flown)
    assert [c.words for c in flown] != [c.words for c in still]


def test_counting_minutes_your_way_can_be_stopped():
    inputs = Inputs()
    values = values_of(inputs, ranges.around(inputs) | {"kv": "1500 to 2400 by 11", "pitch_in": "3 to 5 by 0.1"})
    job = counting.start(inputs, values, {}, ("mass", MIXED_TIME), plan.count_of(values, {}), None)
    job.stop()
    assert job.wait(60) and job.stopped and job.answer is None and job.done < job.size


def test_what_is_kept_stays_within_its_bound(monkeypatch):
    held = counting.SweepCache()
    job = job_of()
    assert job.wait(60)
    size = sum(v.nbytes for v in job.answer.found.values.values())
    monkeypatch.setattr(counting, "CACHE_BYTES", 3 * size + size // 2)
    for k in range(6):
        held.put(str(k), job.answer)
    assert held.get("0") is None and held.get("5") is not None
    assert sum(held.get(str(k)) is not None for k in range(6)) == 3


def test_a_fault_of_the_engine_becomes_a_sentence():
    planned = plan.plan(Inputs(), small(Inputs()), {})
    job = counting.SweepJob("k", planned, ("no such output",), 1, counting.SweepCache())
    job.begin()
    assert job.wait(60) and "no such output" in job.fault and job.answer is None


def test_many_visitors_counting_at_once_get_their_own_answers():
    found: dict[int, tuple[int, int]] = {}

    def visit(k: int) -> None:
        job = job_of({"kv": f"{1500 + k}, {1900 + k}"})
        assert job.wait(60)
        found[k] = (job.size, int(job.answer.found.axes["motor.kv"][0]))

    threads = [threading.Thread(target=visit, args=(k,)) for k in range(6)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert {k: v[1] for k, v in found.items()} == {k: 1500 + k for k in range(6)}
