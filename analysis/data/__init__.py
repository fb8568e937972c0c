"""What is wrong with the measurements of a recording: gaps, zeros, sides, clocks, units."""
