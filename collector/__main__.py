"""`python -m collector` is the `lightoff` command."""

from collector.cli import main

main()
