"""Propulsion model."""
