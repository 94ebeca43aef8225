"""A log whose columns cannot be guessed: the page lets the reader choose them."""

from __future__ import annotations

import numpy as np
from bench_pages import body, opened, run

from explorer.session import bench_log, keys


def log_file() -> bytes:
    """Return two minutes of hover, of which no column can be told by its heading or its numbers."""
    rng = np.random.default_rng(3)
    t = np.arange(0.0, 120.0, 0.2)
    amps = 7.4 + 0.1 * rng.normal(size=t.size)
    rows = [f"{1e5 * (t.size - k)},{-25:.2f},{-a:.2f},{t[k]:.1f}" for k, a in enumerate(amps)]
    # the clock stands last and is not even: no rule finds it
    rows[5] = rows[5].rsplit(",", 1)[0] + ",1.05"
    return ("\n".join(["one,two,three,four", *rows])).encode()


def test_the_columns_of_a_log_that_cannot_be_guessed_are_chosen_on_the_page():
    at = opened("plug_in")
    held = bench_log.read_log("x1", "odd.csv", log_file())
    assert held.log is None and held.headings == ("one", "two", "three", "four")
    at.session_state[keys.BENCH_LOG] = held
    said = body(run(at))
    assert "is a thrust, or a speed or voltage with a current" in said and "What are its columns?" in said
    assert at.segmented_control(key="log_kind:x1").value == "flight"
    at.selectbox(key="log_col:x1:time").set_value("four")
    at.selectbox(key="log_col:x1:current").set_value("three")
    run(at)
    at.button(key="log_again").click()
    said = body(run(at))
    assert "a flight log, 600 rows" in said and "What are its columns?" not in said
    assert "the sensor counts the wrong way round" in said


def test_a_log_that_was_taken_for_the_wrong_kind_can_be_read_as_the_other():
    rows = ["one,two,three", *(f"{k},{25 - 0.01 * k:.2f},{7 + 0.01 * k:.2f}" for k in range(80))]
    held = bench_log.read_log("x2", "odd.csv", "\n".join(rows).encode())
    assert held.log is not None and held.log.kind == "stand"
    at = opened("plug_in")
    at.session_state[keys.BENCH_LOG] = held
    at.session_state["log_columns"] = True
    run(at)
    at.segmented_control(key="log_kind:x2").set_value("flight")
    run(at)
    at.selectbox(key="log_col:x2:time").set_value("one")
    run(at)
    at.button(key="log_again").click()
    assert "a flight log, 80 rows" in body(run(at))
