"""Input controls and page frame, shared by all pages."""
