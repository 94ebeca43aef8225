"""Page Shelf: saved builds, parts, the field sheet."""
