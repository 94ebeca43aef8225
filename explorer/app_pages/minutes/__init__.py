"""Page Minutes: how long and how far it flies."""
