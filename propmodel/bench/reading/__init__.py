"""From the bytes of a file to columns in SI units."""
