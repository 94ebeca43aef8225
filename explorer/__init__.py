"""Explorer: the what-if pages, in a browser."""
