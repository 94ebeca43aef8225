"""Page Plug in: the first power-up and measured logs."""
