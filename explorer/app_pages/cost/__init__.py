"""Page Cost: cost of a session."""
