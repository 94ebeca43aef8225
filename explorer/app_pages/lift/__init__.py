"""Page Lift: thrust, current and hover."""
