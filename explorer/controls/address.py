"""Write the build into the address of the page at each change, so that a reload or a server restart keeps it.

`st.query_params` would add an entry to the browser history at each move of a slider; this code replaces the address.
The address does not contain prices, readings or measured parts.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import streamlit as st

from explorer.inputs import Inputs
from explorer.inputs.link import OTHER_KEYS, encode
from explorer.inputs.measured_parts import without_measured
from explorer.session import keys, state, typed_labels

__all__ = ["carry"]

_JS = """
export default function ({ data }) {
  // when the browser is idle, or leaves the page before
  if (window.wiAddress) cancelIdle(window.wiAddress);
  else window.addEventListener("pagehide", () => window.wiAddress?.write());
  const write = () => {
    window.wiAddress.write = () => {};
    replace(data);
  };
  window.wiAddress = { write, due: whenIdle(write) };
}

function whenIdle(write) {
  return window.requestIdleCallback ? requestIdleCallback(write, { timeout: 500 }) : setTimeout(write, 100);
}

function cancelIdle({ due }) {
  if (window.cancelIdleCallback) cancelIdleCallback(due);
  else clearTimeout(due);
}

function replace(data) {
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
    """Write the build and the pinned builds into the address; without changes by the user the address has no query."""
    touched = st.session_state[keys.TOUCHED] or state.inputs() != Inputs()
    query = (
        encode(
            without_measured(state.usable()),
            *(without_measured(one) for one in state.pins()),
            lent=typed_labels.borrowed(state.usable()),
        )
        if touched
        else ""
    )
    _component()(
        # includes the page, so that the address is written again after a change of page
        data={"query": query, "others": sorted(OTHER_KEYS), "page": st.session_state.get(keys.PAGE, "")},
        key="address_of_build",
    )


@st.cache_resource(show_spinner=False)
def _component() -> Callable[..., Any]:
    """Return the component, registered once per server process."""
    return st.components.v2.component("propulsion_what_if_address", js=_JS)
