"""Basic modules: units, constants, checks, status, tables."""
