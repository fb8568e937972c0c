"""Tests of the recognizer of the ignition sequence."""
