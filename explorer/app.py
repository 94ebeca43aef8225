"""The frame: style, session, the one table of pages, side panel, run."""

from __future__ import annotations

import logging

import streamlit as st

from explorer.controls import address, field_controls, frame_script, page_frame, side_panel
from explorer.session import stale_values, state

PAGES = (
    ("lift", "Lift"),
    ("minutes", "Minutes"),
    ("margins", "Margins"),
    ("dive", "Dive"),
    ("choose", "Choose"),
    ("plug_in", "Plug in"),
    ("cost", "Cost"),
    ("why", "Why"),
    ("shelf", "Shelf"),
)
"""Folder in `app_pages` and name, in the order of the questions."""


def main() -> None:
    """Draw one run."""
    st.set_page_config(page_title="Propulsion what-if", layout="wide", initial_sidebar_state="auto")
    page_frame.style()
    state.start()
    page = st.navigation(
        [
            st.Page(page_frame.page_file(file), title=name, url_path=file, default=k == 0)
            for k, (file, name) in enumerate(PAGES)
        ],
        position="hidden",  # the page bar replaces the links of the framework, which take 100 elements
    )
    field_controls.turn_to(page.url_path or PAGES[0][0])
    field_controls.begin_run()
    frame_script.bar(PAGES)
    side_panel.draw_craft()
    try:
        page.run()
    except Exception:
        logging.getLogger("explorer").exception("page %s", page.title)
        st.error("This page could not be drawn with these inputs. They are kept: change one, or open another page.")
    # after the page: the browser draws the charts while the rest of the panel is written
    side_panel.draw_inputs()
    address.carry()
    stale_values.end_run()


if __name__ == "__main__":
    main()
