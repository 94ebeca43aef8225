"""The only place that writes `st.session_state`."""
