"""Troubles: what goes wrong, answered with the numbers of the build."""
