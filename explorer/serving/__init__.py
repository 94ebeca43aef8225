"""Access to the pages from the network: allowed hosts and origins, limits of size and time, expiry of sessions."""
