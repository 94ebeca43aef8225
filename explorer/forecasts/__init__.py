"""Cached results of the engine that several pages share."""
