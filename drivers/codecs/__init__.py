"""Bytes and text to values and back, without any input or output."""
