"""Reader of measurement files: from the bytes of a file to columns in SI units."""
