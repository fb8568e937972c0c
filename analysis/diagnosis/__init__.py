"""Which cause, how sure, and what to test next."""
