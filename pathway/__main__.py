"""`python -m pathway` runs the command."""

from pathway.cli.main import main

main()
