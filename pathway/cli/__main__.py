"""`python -m pathway.cli` runs the command."""

from pathway.cli.main import main

main()
