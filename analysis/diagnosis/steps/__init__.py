"""What can be looked at, tested and measured to tell causes apart, and what each result would mean."""
