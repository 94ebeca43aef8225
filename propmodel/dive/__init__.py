"""The dive and the pull-out."""
