"""Where readings go for good: a sink each kind of server."""
