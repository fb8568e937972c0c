"""What a kill, a power loss and a medium that refuses leave of a recording."""
