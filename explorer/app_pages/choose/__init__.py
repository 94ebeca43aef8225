"""Page Choose: many combinations."""
