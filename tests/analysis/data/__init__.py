"""Tests of `analysis.data`."""
