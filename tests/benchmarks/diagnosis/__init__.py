"""How well causes are found, and how fast."""
