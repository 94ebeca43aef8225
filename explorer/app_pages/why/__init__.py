"""Page Why: stories, derivations, troubles."""
