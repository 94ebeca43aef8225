"""Studies over many builds: sweeps, spread, sensitivity, inverse problems, Pareto frontiers."""
