"""Saved builds and part tables: file format, folder and database. Without Streamlit."""
