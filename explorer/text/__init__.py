"""Text shown to the user: numbers with units, sentence parts, markup. No Streamlit."""
