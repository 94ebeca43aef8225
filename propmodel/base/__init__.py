"""What everything else stands on: units, constants, checks, status, tables."""
