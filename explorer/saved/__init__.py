"""Saved builds and tables: the file format, the folder and its database. No Streamlit."""
