"""Values that the browser still sends of controls that the page has set anew."""

from __future__ import annotations

import pytest
import streamlit as st

from explorer.session import late_values


@pytest.fixture(autouse=True)
def _session(monkeypatch):
    state: dict = {}
    monkeypatch.setattr(st, "session_state", state)
    clock = [100.0]
    monkeypatch.setattr(late_values.time, "monotonic", lambda: clock[0])
    return clock


def test_a_value_that_was_replaced_is_late_until_the_browser_has_heard(_session):
    late_values.begin_run()
    late_values.put("side:kv", 1950.0)
    late_values.put("side:kv", 1960.0)  # the slider moved it
    st.session_state["side:kv"] = 1950.0  # what the browser still sends
    assert late_values.is_late("side:kv")
    st.session_state["side:kv"] = 2000.0  # what somebody types
    assert not late_values.is_late("side:kv")
    late_values.end_run()
    st.session_state["side:kv"] = 1950.0
    _session[0] += 0.9
    assert late_values.is_late("side:kv")
    _session[0] += 0.2
    assert not late_values.is_late("side:kv"), "long after a run the same value is somebody's own"


def test_a_browser_that_has_heard_may_send_the_old_value_again():
    late_values.put("craft", "scree")
    late_values.put("craft", None)
    late_values.put("craft", None)  # the next run finds what it was told
    st.session_state["craft"] = "scree"
    assert not late_values.is_late("craft")


def test_a_choice_is_known_as_it_was_when_the_run_began():
    late_values.begin_run({"knob:lift": "kv"})
    assert late_values.chosen_when_drawn("knob:lift", "take_off_g") == "kv"
    assert late_values.chosen_when_drawn("knob:dive", "take_off_g") == "take_off_g"
