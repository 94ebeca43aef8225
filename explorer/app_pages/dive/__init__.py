"""Page Dive: the pull-out."""
