"""Cached answers of the engine that several pages share."""
