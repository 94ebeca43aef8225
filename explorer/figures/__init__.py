"""Figures: a result in, a plotly figure out."""
