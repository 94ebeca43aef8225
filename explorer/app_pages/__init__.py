"""The pages: one script each, run by the Streamlit server."""
