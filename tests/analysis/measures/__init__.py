"""Tests of the measures of a recording."""
