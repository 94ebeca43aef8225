"""Page Cost: what a session costs."""
