"""Flight performance of a build: level flight, flight time, rotor response, power balance."""
