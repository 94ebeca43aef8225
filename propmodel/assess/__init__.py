"""Assessment of a build: intermediate results, headline outputs, margins, limits."""
