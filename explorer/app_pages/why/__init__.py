"""Page Why: stories, worked examples, troubleshooting."""
