"""Numbers and words as the reader sees them. No Streamlit."""
