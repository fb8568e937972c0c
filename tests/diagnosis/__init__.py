"""Simulated calls that no library knew, seen through meters as they are, and what a diagnosis says of them."""
