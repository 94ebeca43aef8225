"""The address of the page carries the build as it changes: a reload, or a server that starts anew, loses nothing.

`st.query_params` would add an entry to the browser's history for every move of a slider; this replaces the address in
place. Prices, readings, measured parts and the pinned build's own measured parts are not in it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import streamlit as st

from explorer.inputs import Inputs
from explorer.inputs.link import OTHER_KEYS, encode
from explorer.inputs.measured_parts import without_measured
from explorer.session import keys, state

__all__ = ["carry"]

_JS = """
export default function ({ data }) {
  const here = new URL(window.location.href);
  const others = new URLSearchParams();
  for (const [key, value] of here.searchParams) {
    if (data.others.includes(key)) others.append(key, value);
  }
  const query = [data.query, others.toString()].filter(Boolean).join("&");
  const next = here.pathname + (query ? "?" + query : "") + here.hash;
  if (next !== here.pathname + here.search + here.hash) {
    window.history.replaceState(window.history.state, "", next);
  }
}
"""


def carry() -> None:
    """Write the build and the pinned ones into the address; an untouched first visit keeps its bare address."""
    touched = st.session_state[keys.TOUCHED] or state.inputs() != Inputs()
    query = (
        encode(without_measured(state.usable()), *(without_measured(one) for one in state.pins())) if touched else ""
    )
    _component()(
        # the page, so that the address is written again where the frame has changed it
        data={"query": query, "others": sorted(OTHER_KEYS), "page": st.session_state.get(keys.PAGE, "")},
        key="address_of_build",
    )


@st.cache_resource(show_spinner=False)
def _component() -> Callable[..., Any]:
    """Registered once for all visitors."""
    return st.components.v2.component("propulsion_what_if_address", js=_JS)
