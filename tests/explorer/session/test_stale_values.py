"""Values that the browser still sends of controls that the page has set anew."""

from __future__ import annotations

import pytest
import streamlit as st

from explorer.session import stale_values


@pytest.fixture(autouse=True)
def _session(monkeypatch):
    state: dict = {}
    monkeypatch.setattr(st, "session_state", state)
    clock = [100.0]
    monkeypatch.setattr(stale_values.time, "monotonic", lambda: clock[0])
    return clock


def test_a_value_that_was_replaced_is_late_until_the_browser_has_heard(_session):
    stale_values.begin_run()
    stale_values.put("side:kv", 1950.0)
    stale_values.put("side:kv", 1960.0)  # the slider moved it
    st.session_state["side:kv"] = 1950.0  # what the browser still sends
    assert stale_values.is_stale("side:kv")
    st.session_state["side:kv"] = 2000.0  # what somebody types
    assert not stale_values.is_stale("side:kv")
    stale_values.end_run()
    st.session_state["side:kv"] = 1950.0
    _session[0] += 0.9
    assert stale_values.is_stale("side:kv")
    _session[0] += 0.2
    assert not stale_values.is_stale("side:kv"), "long after a run the same value is somebody's own"


def test_a_browser_that_has_heard_may_send_the_old_value_again():
    stale_values.put("craft", "scree")
    stale_values.put("craft", None)
    stale_values.put("craft", None)  # the next run finds what it was told
    st.session_state["craft"] = "scree"
    assert not stale_values.is_stale("craft")


def test_a_choice_is_known_as_it_was_when_the_run_began():
    stale_values.begin_run({"knob:lift": "kv"})
    assert stale_values.chosen_when_drawn("knob:lift", "take_off_g") == "kv"
    assert stale_values.chosen_when_drawn("knob:dive", "take_off_g") == "take_off_g"
