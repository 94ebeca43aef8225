"""Page Margins: what breaks first."""
