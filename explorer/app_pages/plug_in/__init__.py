"""Page Plug in: first power-up and measured logs."""
