"""The frame: style, session, the one table of pages, side panel, run."""

from __future__ import annotations

import logging

import streamlit as st

from explorer import side, state, widgets

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
"""File in `app_pages` and name, in the order of the questions; a page is there once its file is."""


def main() -> None:
    """Draw one run."""
    st.set_page_config(page_title="Propulsion what-if", layout="wide", initial_sidebar_state="auto")
    widgets.style()
    state.start()
    there = [(file, name) for file, name in PAGES if (widgets.PAGE_FILES / f"{file}.py").exists()]
    page = st.navigation(
        [
            st.Page(f"app_pages/{file}.py", title=name, url_path=file, default=k == 0)
            for k, (file, name) in enumerate(there)
        ],
        position="top",
    )
    st.session_state["page"] = page.url_path or there[0][0]
    side.draw()
    try:
        page.run()
    except Exception:
        logging.getLogger("explorer").exception("page %s", page.title)
        st.error("This page could not be drawn with these inputs. They are kept: change one, or open another page.")


if __name__ == "__main__":
    main()
