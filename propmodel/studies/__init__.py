"""Many builds: sweeps, spread, sensitivity, solving for a field, frontiers."""
