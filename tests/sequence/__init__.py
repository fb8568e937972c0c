"""How the recognizer is checked: simulated recordings with what is true of them, and scores."""
