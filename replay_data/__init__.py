"""Recordings of the invented demo scenario, shipped as data; README.md says where they come from."""
