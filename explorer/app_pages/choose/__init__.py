"""Page Choose: sweep over many combinations of parts."""
