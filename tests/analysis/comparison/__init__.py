"""Two visits compared: whether what is said of the difference is true."""
