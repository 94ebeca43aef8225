"""Session state of one visitor; with `controls` the only package that writes ``st.session_state``."""
