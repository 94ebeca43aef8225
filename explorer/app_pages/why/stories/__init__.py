"""Stories: guess first, then look."""
