"""Functions from arrays to numbers with their uncertainty: no clock, no file, no event loop."""
