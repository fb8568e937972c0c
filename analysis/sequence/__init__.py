"""Recognizer of the ignition sequence: over a whole recording, and reading by reading."""
