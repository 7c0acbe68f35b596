"""`python -m modecheck` is the command `modecheck`."""

from modecheck.cli.main import main

main()
