"""One short script per page; the server runs them."""
