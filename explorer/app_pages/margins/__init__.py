"""Page Margins: which part reaches its limit first."""
