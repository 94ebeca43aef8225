"""Page Minutes: flight time and range."""
