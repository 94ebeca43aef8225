"""Controls and frame that every page shares."""
