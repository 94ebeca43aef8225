"""Page Shelf: saved builds, parts, field sheet."""
